"""The emulated dust module: its frame, its commands, a stopped fan."""

import pytest

from cabinvigil.daemon.rehearsal.emulated.pm_frame import EmulatedPmFrame
from tests.rehearsal.emulated.world import World, word


def test_the_dust_frame_has_the_vectors_form() -> None:
    """Header, length, tail and sum are those of the vector 'typical'."""
    world = World(pm2_5_ugm3=8.0)
    part = world.make(EmulatedPmFrame)
    world.pass_(60.0)
    frame = part.send()
    typical = bytes.fromhex(
        "42 4d 00 1c 00 05 00 08 00 09 00 05 00 08 00 09 03 84 01 04 00 3c 00 08 00 01"
        "00 00 97 00 02 3f"
    )
    assert sum(typical[:30]) == word(typical[30:])
    assert len(frame) == len(typical)
    assert frame[:4] + frame[28:30] == typical[:4] + typical[28:30]
    assert sum(frame[:30]) == word(frame[30:])
    assert word(frame[12:]) == pytest.approx(8, abs=3)


def test_the_dust_module_obeys_its_commands() -> None:
    """Passive, read once, sleep, wake: the commands of library plantower 0.0.11."""
    part = World().make(EmulatedPmFrame)
    part.receive(bytes.fromhex("42 4d e1 00 00 01 70"))
    assert part.due_s() is None
    assert len(part.receive(bytes.fromhex("42 4d e2 00 00 01 71"))) == 32
    part.receive(bytes.fromhex("42 4d e4 00 00 01 73"))
    assert part.receive(bytes.fromhex("42 4d e2 00 00 01 71")) == b""
    part.receive(bytes.fromhex("42 4d e4 00 01 01 74"))
    part.receive(bytes.fromhex("42 4d e1 00 01 01 71"))
    assert part.due_s() == pytest.approx(2.3)


def test_a_stopped_fan_counts_nothing() -> None:
    """The frame stays whole, and every count is zero."""
    world = World()
    part = world.make(EmulatedPmFrame)
    world.pass_(60.0)
    part.fan_stopped = True
    frame = part.send()
    assert frame[4:28] == bytes(24)
