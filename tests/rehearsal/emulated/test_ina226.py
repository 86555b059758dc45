"""The emulated INA226: the data sheet's example."""

import pytest

from cabinvigil.daemon.rehearsal.emulated.ina226 import EmulatedIna226
from tests.rehearsal.emulated.world import World, ask, word


def test_the_ina226_gives_the_data_sheets_example() -> None:
    """11.98 V, 10 A over 2 mOhm: 2570, 1f40, 2710, 12b8 (June 2011, p.16 table 1)."""
    world = World(supply_v=11.98, supply_a=10.0)
    part = world.make(EmulatedIna226)
    assert (
        ask(world, part, b"\xfe", 2) + ask(world, part, b"\xff", 2)
        == b"\x54\x49\x22\x60"
    )
    assert word(ask(world, part, b"\x02", 2)) == pytest.approx(0x2570, abs=4)
    assert word(ask(world, part, b"\x01", 2)) == pytest.approx(0x1F40, abs=20)
    assert word(ask(world, part, b"\x04", 2)) == 0  # no calibration: exactly nothing
    part.write(bytes.fromhex("05 0a 00"))
    assert word(ask(world, part, b"\x04", 2)) == pytest.approx(0x2710, abs=25)
    assert word(ask(world, part, b"\x03", 2)) == pytest.approx(0x12B8, abs=20)
    part.write(bytes.fromhex("00 80 00"))
    assert word(ask(world, part, b"\x05", 2)) == 0  # a reset forgets it
