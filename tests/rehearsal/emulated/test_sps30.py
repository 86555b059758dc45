"""The emulated SPS30: waking, masses, cleaning, its commands."""

import struct
from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.emulated import words
from cabinvigil.daemon.rehearsal.emulated.sps30 import EmulatedSps30
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.world import World, ask


def test_the_sps30_wakes_at_the_second_call(world: World) -> None:
    """The first wake-up of a sleeping part is not acknowledged (sensor notes 5)."""
    part = world.make(EmulatedSps30)
    part.write(bytes.fromhex("1001"))
    world.pass_(0.01)
    with pytest.raises(Nack):
        part.write(bytes.fromhex("1103"))
    part.write(bytes.fromhex("1103"))
    world.pass_(0.01)
    assert ask(world, part, bytes.fromhex("d206"), 6) == bytes.fromhex("000081 000081")


def test_the_sps30_gives_ten_numbers_that_rise(world: World) -> None:
    """Twenty checked words: masses that rise with size, in the vectors' layout."""
    world.air = replace(world.air, pm2_5_ugm3=80.0)
    part = world.make(EmulatedSps30)
    part.write(bytes.fromhex("0010 0300 ac"))
    world.pass_(30.0)
    assert ask(world, part, bytes.fromhex("0202"), 3) == bytes.fromhex("0001b0")
    got = words.checked_words(ask(world, part, bytes.fromhex("0300"), 60))
    assert got is not None
    numbers = struct.unpack(">10f", struct.pack(">20H", *got))
    assert list(numbers[:4]) == sorted(numbers[:4])
    assert numbers[1] == pytest.approx(80.0, rel=0.2)


def test_the_sps30_stands_still_while_it_cleans(world: World) -> None:
    """For ten seconds of cleaning the values are not renewed (sensor notes 5)."""
    part = world.make(EmulatedSps30)
    part.write(bytes.fromhex("0010 0300 ac"))
    world.pass_(20.0)
    read = bytes.fromhex("0300")
    before = ask(world, part, read, 60)
    part.write(bytes.fromhex("5607"))
    world.pass_(5.0)
    assert ask(world, part, read, 60) == before
    world.pass_(10.0)
    assert ask(world, part, read, 60) != before


def test_the_sps30s_lesser_commands(world: World) -> None:
    """Interval, version, serial, status, whole numbers, sleep and reset."""
    part = world.make(EmulatedSps30)

    def get(command: str, length: int) -> list[int] | None:
        reply = ask(world, part, bytes.fromhex(command), length, 0.01)
        return words.checked_words(reply)

    assert get("8004", 6) == [*divmod(604800, 65536)]  # a week (sensor notes 5)
    world.pass_(0.01)
    assert get("d100", 3) == [0x0202]
    serial = get("d033", 48)
    assert serial is not None
    assert struct.pack(">16H", *serial).startswith(b"EMULATED")
    part.status = 1 << 4
    assert get("d206", 6) == [0, 0x10]  # vector 'fan blocked, bit 4'
    part.write(bytes.fromhex("d210"))
    world.pass_(0.01)
    assert part.status == 0
    unknown_form = b"\x00\x10" + words.with_checks([0x0900])
    for refused in (b"\x56\x07", unknown_form, b"\x12\x34"):
        with pytest.raises(Nack):
            part.write(refused)
        world.pass_(0.1)
    part.write(b"\x00\x10" + words.with_checks([0x0500]))
    world.pass_(30.0)
    numbers = get("0300", 30)
    assert numbers is not None
    assert numbers[1] == pytest.approx(8, abs=4)
    with pytest.raises(Nack):
        part.write(b"\x10\x01")  # it measures
    world.pass_(0.1)
    part.write(b"\x01\x04")
    world.pass_(0.1)
    part.write(b"\xd3\x04")
    world.pass_(0.2)
    assert get("0202", 3) == [0]
