"""Emulated modules of nine-byte frames: CO, O2 and CO2."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.emulated import frame9
from cabinvigil.daemon.rehearsal.emulated.frame9 import (
    EmulatedFrame9Co,
    EmulatedFrame9Co2,
    EmulatedFrame9O2,
)
from tests.rehearsal.emulated.world import World, word


@pytest.mark.parametrize(
    "frame",
    [
        "ff 01 86 00 00 00 00 00 79",  # datasheet (ZE07-CH2O manual p.5 table 7)
        "ff 01 78 41 00 00 00 00 46",  # datasheet (ZE07-CO manual p.5 table 5)
        "ff 01 78 40 00 00 00 00 47",  # datasheet (ZE07-CO manual p.5 table 6)
        "ff 86 00 2a 00 00 00 20 30",  # datasheet (ZE07-CH2O manual p.5 table 8)
        "ff 86 02 60 47 00 00 00 d1",  # library mh_z19 3.1.7
    ],
)
def test_the_frame_check_is_the_published_one(frame: str) -> None:
    """The ninth byte of nine-byte frames follows the manuals' rule."""
    data = bytes.fromhex(frame)
    assert frame9.closed(data[:8]) == data


def test_the_co_module_uploads_the_vectors_form() -> None:
    """35.0 ppm is ff 04 03 01 01 5e 13 88 fe, but for the module's own error."""
    world = World(co_ppm=35.0, temp_c=20.0)
    part = world.make(EmulatedFrame9Co)
    world.pass_(60.0)
    frame = part.send()
    assert frame[:4] == bytes.fromhex("ff 04 03 01")
    assert frame[6:8] == bytes.fromhex("13 88")
    assert frame9.closed(frame[:8]) == frame
    assert word(frame[4:]) / 10 == pytest.approx(35.0, rel=0.12)


def test_the_co_module_reads_low_in_the_cold_and_ends_at_its_range() -> None:
    """A cold cell under-reads by the sheet's share; above 500 ppm the range stands."""
    world = World(co_ppm=100.0, temp_c=20.0)
    part = world.make(EmulatedFrame9Co)
    world.pass_(60.0)
    warm = word(part.send()[4:])
    world.air = replace(world.air, temp_c=-20.0)
    cold = word(part.send()[4:])
    assert cold / warm == pytest.approx(0.575, abs=0.02)  # middle of 45 to 70 %
    world.air = replace(world.air, temp_c=20.0, co_ppm=3000.0)
    for _ in range(60):
        world.pass_(1.0)
        frame = part.send()
    assert frame == bytes.fromhex("ff 04 03 01 13 88 13 88 c2")  # vector 'full range'


def test_the_co_module_changes_its_mode_when_asked(world: World) -> None:
    """Question mode ends the stream, a request is answered, upload mode brings it back.

    The command bytes are the manual's (ZE07-CO p.5 tables 5 and 6).
    """
    part = world.make(EmulatedFrame9Co)
    part.receive(bytes.fromhex("00 13 ff 01 78 41 00 00"))
    assert part.due_s() is not None  # the command is not whole yet
    part.receive(bytes.fromhex("00 00 46"))
    assert part.due_s() is None
    answer = part.receive(bytes.fromhex("ff 01 86 00 00 00 00 00 79"))
    assert answer[:2] == b"\xff\x86"
    assert frame9.closed(answer[:8]) == answer
    part.receive(bytes.fromhex("ff 01 78 40 00 00 00 00 48"))  # a wrong check
    assert part.due_s() is None
    part.receive(bytes.fromhex("ff 01 78 40 00 00 00 00 47"))
    assert part.due_s() is not None


def test_the_o2_module_uploads_the_vectors_form() -> None:
    """20.9 % is ff 05 04 01 00 d1 00 fa 2b, within a step or two."""
    part = World(o2_pct=20.9, pressure_hpa=1013.25).make(EmulatedFrame9O2)
    frame = part.send()
    assert frame[:4] + frame[6:8] == bytes.fromhex("ff 05 04 01 00 fa")
    assert word(frame[4:]) == pytest.approx(209, abs=4)


def test_the_co2_module_warms_up_on_a_fixed_value_and_calibrates_itself(
    world: World,
) -> None:
    """410 ppm at first; self-calibration is on after each power-up until told."""
    part = world.make(EmulatedFrame9Co2)
    request = bytes.fromhex("ff 01 86 00 00 00 00 00 79")
    assert part.due_s() is None
    assert word(part.receive(request)[2:]) == 410
    assert part.self_calibration
    part.receive(bytes.fromhex("ff 01 79 00 00 00 00 00 86"))  # library mh_z19 3.1.7
    assert not part.self_calibration
    world.pass_(100.0)
    assert word(part.receive(request)[2:]) == pytest.approx(1523, rel=0.1)
    part.power_up()
    assert part.self_calibration


def test_the_co2_module_can_be_zeroed(world: World) -> None:
    """The zero command makes the present air 400 ppm for good (library mh_z19)."""
    part = world.make(EmulatedFrame9Co2)
    world.pass_(200.0)
    part.receive(bytes.fromhex("ff 01 87 00 00 00 00 00 78"))
    answer = part.receive(bytes.fromhex("ff 01 86 00 00 00 00 00 79"))
    assert word(answer[2:]) == pytest.approx(400, abs=20)
