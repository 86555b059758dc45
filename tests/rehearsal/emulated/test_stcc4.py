"""The emulated STCC4: other people's drivers, what it refuses, what moves it."""

from dataclasses import replace
from typing import Any

import adafruit_stcc4
import pytest

from cabinvigil.daemon.rehearsal.emulated import words
from cabinvigil.daemon.rehearsal.emulated.stcc4 import EmulatedStcc4
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.other_drivers import attached, channel
from tests.rehearsal.emulated.world import World, ask


def _up(world: World, **options: Any) -> EmulatedStcc4:
    part: EmulatedStcc4 = world.make(EmulatedStcc4, **options)
    world.pass_(0.01)
    return part


def _tell(world: World, part: EmulatedStcc4, command: str, wait_s: float = 1.2) -> None:
    part.write(bytes.fromhex(command))
    world.pass_(wait_s)


def _reading(world: World, part: EmulatedStcc4) -> list[int]:
    found = words.checked_words(ask(world, part, b"\xec\x05", 12, 0.001))
    assert found is not None
    return found


def test_the_makers_driver_reads_the_stcc4(world: World) -> None:
    """The maker's own Python driver tells it the air, waits, and reads."""
    device = pytest.importorskip("sensirion_i2c_stcc4.device")
    part = _up(world)
    theirs = device.Stcc4Device(channel(attached(0x64, part), 0x64))
    assert theirs.get_product_id()[0] == adafruit_stcc4._STCC4_PRODUCT_ID
    assert theirs.perform_self_test() == 0x0010  # no SHT4x is wired to it
    theirs.enable_testing_mode()
    assert part.is_testing
    theirs.set_rht_compensation(*_ticks(16.5, 54.8))
    theirs.set_pressure_compensation(101325)
    theirs.start_continuous_measurement()
    world.pass_(1.2)
    co2, temp, humidity, status = theirs.read_measurement()
    assert co2 == pytest.approx(1523, abs=100 + 0.1 * 1523)
    assert float(temp.value) == pytest.approx(16.5, abs=0.01)
    assert float(humidity.value) == pytest.approx(54.8, abs=0.01)
    assert status == 0x4010
    theirs.disable_testing_mode()
    assert not part.is_testing
    theirs.stop_continuous_measurement()


def _ticks(temp_c: float, rh_pct: float) -> tuple[int, int]:
    """As the sheet has it, table 11."""
    return (
        round((temp_c + 45.0) * 65535 / 175),
        round((rh_pct + 6.0) * 65535 / 125),
    )


def test_its_status_is_read_by_another_driver_as_we_say_it(world: World) -> None:
    """Paused, and nothing wired to it; with an SHT4x the second is gone."""
    for sht4x in (False, True):
        part = _up(world, sht4x=sht4x)
        _tell(world, part, "3fbc", 0.0)
        _tell(world, part, "218b")
        status = _reading(world, part)[3]
        assert status & adafruit_stcc4.STATUS_TESTING_MODE
        assert bool(status & adafruit_stcc4.STATUS_SHT_NOT_CONNECTED) is not sht4x
        _tell(world, part, "3f86")
        passed = words.with_checks([0 if sht4x else 0x10])
        assert ask(world, part, b"\x27\x8c", 3, 0.36) == passed


def test_the_stcc4_gives_a_measurement_once_and_no_number_meanwhile(
    world: World,
) -> None:
    """Emptied by a read, refused until the next; table 10 says what is refused."""
    part = _up(world)
    with pytest.raises(Nack):  # idle: nothing is measured
        ask(world, part, b"\xec\x05", 12, 0.001)
    product = ask(world, part, b"\x36\x5b", 18, 0.001)
    assert product[:6] == words.with_checks([0x0901, 0x018A])
    _tell(world, part, "218b")
    _reading(world, part)
    with pytest.raises(Nack):
        ask(world, part, b"\xec\x05", 12, 0.001)
    for refused in ("365b", "218b", "362f 01ae 96", "9999", "99"):
        with pytest.raises(Nack):
            part.write(bytes.fromhex(refused))
    part.write(b"")
    world.pass_(1.0)
    _reading(world, part)


def test_the_stcc4_is_busy_while_it_stops(world: World) -> None:
    """1.2 s after a stop, 10 ms after power-up."""
    part = world.make(EmulatedStcc4)
    with pytest.raises(Nack):
        part.write(b"\x36\x5b")
    world.pass_(0.01)
    part.write(b"\x3f\x86")
    world.pass_(1.1)
    with pytest.raises(Nack):
        part.write(b"\x36\x5b")
    world.pass_(0.1)
    part.write(b"\x36\x5b")


def test_a_loss_of_power_begins_self_calibration_again(world: World) -> None:
    """And brings the default air and pressure back (3.4.4, 3.4.5)."""
    part = _up(world)
    for command in ("3fbc", "e000 6666 93 0000 81", "e016 b71b 00", "e016"):
        _tell(world, part, command, 0.01)
    assert part.pressure_word == 50650  # the check was wrong, and none is too few
    _tell(world, part, "e016" + words.with_checks([47000]).hex(), 0.01)
    assert (part.is_testing, part.air_words, part.pressure_word) == (
        *(True, (0x6666, 0)),
        47000,
    )
    part.power_up()
    assert (part.is_testing, part.air_words, part.pressure_word) == (
        *(False, (0x6666, 0x72B0)),
        50650,
    )


def test_a_new_part_shows_390_for_its_first_twenty_seconds(world: World) -> None:
    """The bypass of its first operation (1.1.4)."""
    part = _up(world, is_new=True)
    _tell(world, part, "218b")
    assert _reading(world, part)[0] == 390
    world.pass_(20.0)
    assert _reading(world, part)[0] > 1000


def test_the_stcc4_is_recalibrated_after_thirty_seconds(world: World) -> None:
    """Failed is ffff; the correction is the answer less 32 768 (table 11)."""
    world.air = replace(world.air, co2_ppm=600.0)
    part = _up(world, sht4x=True)
    target = b"\x36\x2f" + words.with_checks([425])
    assert ask(world, part, target, 3, 0.09) == bytes.fromhex("ffffac")
    _tell(world, part, "218b", 40.0)
    _tell(world, part, "3f86")
    (answer,) = words.checked_words(ask(world, part, target, 3, 0.09)) or [0]
    assert answer - 0x8000 == pytest.approx(-175, abs=160)
    _tell(world, part, "218b")
    assert _reading(world, part)[0] == pytest.approx(425, abs=30)


def test_vapour_and_height_move_it_until_it_is_told(world: World) -> None:
    """It takes vapour for CO2, and shows less in thin air."""

    def ppm(*told: str) -> int:
        part = _up(world)
        for command in told:
            _tell(world, part, command, 0.01)
        _tell(world, part, "218b")
        return _reading(world, part)[0]

    world.air = replace(world.air, co2_ppm=3000.0, temp_c=20.0, rh_pct=50.0)
    air = "e000" + words.with_checks(_ticks(20.0, 50.0)).hex()
    right, wrong = ppm(air), ppm()
    assert abs(right - wrong) > 200
    world.air = replace(world.air, pressure_hpa=812.0)
    pressure = "e016" + words.with_checks([40600]).hex()
    assert ppm(air) / ppm(air, pressure) == pytest.approx(0.80, abs=0.03)
