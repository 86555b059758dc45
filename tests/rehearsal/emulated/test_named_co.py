"""Emulated CO modules that name their gas, by the maker's public driver."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.emulated.named_co import (
    EmulatedCoNamedI2c,
    EmulatedCoNamedLine,
)
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.world import World, ask, word

ASK = bytes.fromhex("ff 01 86 00 00 00 00 00 79")
WHEN_ASKED = bytes.fromhex("ff 01 78 04 00 00 00 00 83")
BY_ITSELF = bytes.fromhex("ff 01 78 03 00 00 00 00 84")


def sums(frame: bytes) -> bool:
    """The sum of that driver: bytes two to seven."""
    return -sum(frame[1:7]) & 0xFF == frame[8]


def test_the_line_answers_with_gas_and_decimals() -> None:
    """CO is 04; a board of another probe would say another."""
    world = World(co_ppm=100.0, temp_c=20.0)
    for decimals in (0, 1, 2):
        part = world.make(EmulatedCoNamedLine, decimals=decimals)
        world.pass_(60.0)
        answer = part.receive(ASK)
        assert sums(answer)
        assert answer[4:6] == bytes([4, decimals])
        assert word(answer[2:]) / 10**decimals == pytest.approx(100.0, rel=0.12)


def test_the_line_changes_its_mode() -> None:
    """It sends by itself from power-up, until it is told not to."""
    world = World()
    part = world.make(EmulatedCoNamedLine)
    assert part.due_s() == 1.0
    assert sums(part.send())
    assert part.due_s() == 2.0
    answer = part.receive(b"\x13" + WHEN_ASKED[:4]) + part.receive(WHEN_ASKED[4:])
    assert answer[:3] == b"\xff\x78\x01"
    assert part.due_s() is None
    part.receive(BY_ITSELF)
    assert part.due_s() is not None
    part.receive(WHEN_ASKED)
    part.power_up()
    assert part.due_s() is not None


def test_what_is_no_command_is_passed_over() -> None:
    """A wrong sum, or another command."""
    part = World().make(EmulatedCoNamedLine)
    assert part.receive(ASK[:8] + b"\0") == b""
    assert part.receive(bytes.fromhex("ff 01 91 00 00 00 00 00 6e")) == b""


def test_the_bus_has_one_register_and_takes_its_time() -> None:
    """Asked too early, or at another register, it does not acknowledge."""
    world = World(co_ppm=50.0, temp_c=20.0)
    part = world.make(EmulatedCoNamedI2c)
    world.pass_(60.0)
    answer = ask(world, part, b"\0" + ASK, 9, wait_s=0.02)
    assert sums(answer)
    assert word(answer[2:]) == pytest.approx(50, abs=7)
    part.write(b"\0" + ASK)
    with pytest.raises(Nack):
        part.read(9)
    with pytest.raises(Nack):
        part.write(b"\x01")
    world.pass_(0.02)
    part.write(b"\0")
    assert part.read(12)[9:] == b"\xff\xff\xff"
    part.power_up()
    assert part.read(9) == bytes(9)


def test_it_ends_at_its_range_and_reads_low_in_the_cold() -> None:
    """57.5 % at -20 °C (CO-B4); 1000 ppm are its end."""
    world = World(co_ppm=400.0, temp_c=20.0)
    part = world.make(EmulatedCoNamedLine)
    warm = word(part.receive(ASK)[2:])
    world.air = replace(world.air, temp_c=-20.0)
    assert word(part.receive(ASK)[2:]) / warm == pytest.approx(0.575, abs=0.02)
    world.air = replace(world.air, temp_c=20.0, co_ppm=5000.0)
    world.pass_(300.0)
    assert word(part.receive(ASK)[2:]) == 1000
