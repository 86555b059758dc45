"""The emulated O2 module with a key register: its wait, its settings."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.emulated.o2_key import EmulatedO2Key
from tests.rehearsal.emulated.world import World, ask


def test_the_o2_key_module_wants_its_wait(world: World) -> None:
    """20.9 % at 1013 hPa with key 208 are about 64 04 08; the key needs 50 ms."""
    world.air = replace(world.air, o2_pct=20.9)
    part = world.make(EmulatedO2Key)
    whole, tenths, hundredths = ask(world, part, b"\x03", 3)
    raw = whole + tenths / 10 + hundredths / 100
    assert raw * 0.208 == pytest.approx(20.9, abs=0.5)
    assert ask(world, part, b"\x0a", 1) == b"\0"
    assert ask(world, part, b"\x0a", 1, 0.05) == bytes([208])


def test_the_o2_key_module_can_be_set(world: World) -> None:
    """Writing 08 sets the key by hand; writing 09 makes the present reading the air's.

    Both last over a power-up (sensor notes 10).
    """
    world.air = replace(world.air, o2_pct=18.0)
    part = world.make(EmulatedO2Key)

    def o2_pct() -> float:
        key = ask(world, part, b"\x0a", 1, 0.05)[0]
        whole, tenths, hundredths = ask(world, part, b"\x03", 3)
        return key / 1000 * (whole + tenths / 10 + hundredths / 100)

    assert o2_pct() == pytest.approx(18.0, abs=0.4)
    part.write(bytes([0x09, 209]))
    part.power_up()
    assert o2_pct() == pytest.approx(20.9, abs=0.2)
    part.write(bytes([0x08, 120]))
    assert ask(world, part, b"\x0a", 1, 0.05) == bytes([120])
