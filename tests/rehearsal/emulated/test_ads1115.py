"""The emulated ADS1115: counts of a cell's voltage."""

import pytest

from cabinvigil.daemon.rehearsal.emulated.ads1115 import EmulatedAds1115, converter
from tests.rehearsal.emulated.world import World, ask, word


def test_the_ads1115_gives_the_vectors_of_a_cell() -> None:
    """11.25 mV at gain 16 are 1440 counts, 05a0; -256 mV clips at 8000.

    Sensor notes, vectors ads1115 (adafruit-circuitpython-ads1x15 3.0.5).
    """
    world = World()
    volts = {"0-1": lambda: 0.01125}
    part = converter(volts, 1, world.now)
    assert ask(world, part, b"\x01", 2) == bytes.fromhex("8583")  # factory value
    assert ask(world, part, b"\x00", 2) == b"\0\0"  # nothing converted yet
    part.write(bytes.fromhex("01 8b 03"))
    assert not ask(world, part, b"\x01", 2)[0] & 0x80  # converting
    world.pass_(0.150)
    assert ask(world, part, b"\x01", 2) == bytes.fromhex("8b03")
    assert word(ask(world, part, b"\x00", 2)) == pytest.approx(1440, abs=3)
    reversed_ = EmulatedAds1115([lambda: -0.3], 1, world.now)
    reversed_.write(bytes.fromhex("01 8b 03"))
    world.pass_(0.2)
    assert ask(world, reversed_, b"\x00", 2) == bytes.fromhex("8000")
