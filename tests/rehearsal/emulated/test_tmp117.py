"""The emulated TMP117: the data sheet's steps."""

import struct

import pytest

from cabinvigil.daemon.rehearsal.emulated.tmp117 import EmulatedTmp117
from tests.rehearsal.emulated.world import World, ask


def test_the_tmp117_gives_the_data_sheets_steps() -> None:
    """-256 C until the first conversion; -25 C is f380 (SNOSD82D table 7-1)."""
    world = World(glass_c=-25.0)
    part = world.make(EmulatedTmp117)
    assert ask(world, part, b"\x00", 2) == bytes.fromhex("8000")
    assert ask(world, part, b"\x0f", 2) == bytes.fromhex("0117")
    world.pass_(0.2)
    assert ask(world, part, b"\x01", 2) == bytes.fromhex("2220")  # ready
    got = int.from_bytes(ask(world, part, b"\x00", 2), "big", signed=True)
    assert got == pytest.approx(struct.unpack(">h", b"\xf3\x80")[0], abs=15)
    assert ask(world, part, b"\x01", 2) == bytes.fromhex("0220")  # read, so not ready
