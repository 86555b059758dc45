"""The emulated SCD4x: other people's drivers, what it refuses, its commands."""

from dataclasses import replace

import adafruit_scd4x
import pytest
from sensirion_i2c_scd4x.device import Scd4xDevice

from cabinvigil.daemon.rehearsal.emulated import words
from cabinvigil.daemon.rehearsal.emulated.scd4x import EmulatedScd4x
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.other_drivers import ByBuffers, attached, channel
from tests.rehearsal.emulated.world import World, ask


def test_the_makers_driver_reads_the_scd4x(world: World) -> None:
    """The maker's own Python driver starts the part, waits, and reads the air."""
    bus = attached(0x62, world.make(EmulatedScd4x))
    world.pass_(1.0)
    device = Scd4xDevice(channel(bus, 0x62))
    device.stop_periodic_measurement()
    assert device.get_automatic_self_calibration_enabled() == 1  # the factory's default
    device.set_automatic_self_calibration_enabled(0)
    assert device.get_automatic_self_calibration_enabled() == 0
    assert device.perform_self_test() == 0
    device.start_periodic_measurement()
    assert device.get_data_ready_status() is False
    world.pass_(5.0)
    assert device.get_data_ready_status() is True
    co2, temp, humidity = device.read_measurement()
    # Class of the part: +-(40 ppm + 5 %) (data sheet v1.3 p.1).
    assert co2.value == pytest.approx(1523, abs=40 + 0.05 * 1523)
    assert temp.value == pytest.approx(16.5, abs=0.5)
    assert humidity.value == pytest.approx(54.8, abs=6)


def test_another_driver_reads_the_scd4x(world: World) -> None:
    """A second, independent driver finds the same part."""
    bus = attached(0x62, world.make(EmulatedScd4x))
    world.pass_(1.0)
    device = adafruit_scd4x.SCD4X(ByBuffers(bus))
    device.altitude = 640
    assert device.altitude == 640
    device.start_periodic_measurement()
    world.pass_(5.0)
    assert device.data_ready
    assert pytest.approx(1523 * 1.08, abs=40 + 0.05 * 1650) == device.CO2


def test_the_scd4x_refuses_settings_while_measuring(world: World) -> None:
    """Settings are refused while measuring, pressure is taken (v1.3 p.8 table 9)."""
    part = world.make(EmulatedScd4x)
    world.pass_(1.0)
    part.write(bytes.fromhex("21b1"))
    world.pass_(0.01)
    with pytest.raises(Nack):
        part.write(bytes.fromhex("2416 0000 81"))
    part.write(bytes.fromhex("e000 03db 42"))  # 98700 Pa, v1.1 table 17


def test_the_scd4x_refuses_while_busy_and_before_it_is_up(world: World) -> None:
    """1 s after power-up, 500 ms after a stop, 1 ms before an answer."""
    part = world.make(EmulatedScd4x)
    with pytest.raises(Nack):
        part.write(bytes.fromhex("3682"))
    world.pass_(1.0)
    part.write(bytes.fromhex("3f86"))
    world.pass_(0.4)
    with pytest.raises(Nack):
        part.write(bytes.fromhex("3682"))
    world.pass_(0.1)
    part.write(bytes.fromhex("3682"))
    with pytest.raises(Nack):  # the answer takes a millisecond
        part.read(9)
    world.pass_(0.001)
    assert words.checked_words(part.read(9)) is not None


def test_the_scd4x_gives_a_measurement_once(world: World) -> None:
    """A read empties the buffer; a second one within the interval is refused."""
    part = world.make(EmulatedScd4x)
    world.pass_(1.0)
    part.write(bytes.fromhex("21b1"))
    world.pass_(5.0)
    assert len(ask(world, part, bytes.fromhex("ec05"), 9, 0.001)) == 9
    part.write(bytes.fromhex("ec05"))
    world.pass_(0.001)
    with pytest.raises(Nack):
        part.read(9)


def test_the_scd4x_forgets_its_mode_and_keeps_what_was_persisted(world: World) -> None:
    """A brown-out ends measuring; self-calibration is on again unless persisted."""
    part = world.make(EmulatedScd4x)
    off, persist = bytes.fromhex("2416 0000 81"), bytes.fromhex("3615")
    world.pass_(1.0)
    part.write(off)
    part.power_up()
    assert part.self_calibration
    world.pass_(1.0)
    part.write(off)
    world.pass_(0.001)
    part.write(persist)
    world.pass_(0.8)
    part.write(bytes.fromhex("21b1"))
    part.power_up()
    assert not part.self_calibration
    world.pass_(20.0)
    ready = ask(world, part, bytes.fromhex("e4b8"), 3, 0.001)
    assert ready == bytes.fromhex("8000a2")  # vector 'status word 8000'


def test_the_scd4x_takes_no_parameter_with_a_wrong_check(world: World) -> None:
    """A wrong check on a parameter leaves the setting as it was."""
    part = world.make(EmulatedScd4x)
    world.pass_(1.0)
    part.write(bytes.fromhex("2416 0000 82"))
    assert part.self_calibration


def test_the_scd4x_recalibrates_after_three_minutes_only(world: World) -> None:
    """Failed is ffff; the correction is the answer less 8000 (v1.3 p.13 table 18)."""
    world.air = replace(world.air, co2_ppm=425.0)
    part = world.make(EmulatedScd4x)
    world.pass_(1.0)
    target = words.with_checks([425])
    assert ask(world, part, b"\x36\x2f" + target, 3, 0.4) == bytes.fromhex("ffffac")
    part.write(bytes.fromhex("21b1"))
    world.pass_(200.0)
    part.write(bytes.fromhex("3f86"))
    world.pass_(0.5)
    answer = words.checked_words(ask(world, part, b"\x36\x2f" + target, 3, 0.4))
    assert answer is not None
    assert abs(answer[0] - 0x8000) < 100
    part.write(bytes.fromhex("21b1"))
    world.pass_(5.0)
    read = words.checked_words(ask(world, part, bytes.fromhex("ec05"), 9, 0.001))
    assert read is not None
    assert read[0] == pytest.approx(425, abs=15)


def test_the_scd4x_reads_low_in_thin_air_until_it_is_told(world: World) -> None:
    """At 640 m an uninformed part reads 7 % low; pressure or altitude mend it."""
    world.air = replace(world.air, co2_ppm=10000.0, pressure_hpa=938.8)

    def reading(setting: str) -> int:
        part = world.make(EmulatedScd4x)
        world.pass_(1.0)
        if setting:
            part.write(bytes.fromhex(setting))
            world.pass_(0.001)
        part.write(bytes.fromhex("21b1"))
        world.pass_(5.0)
        got = words.checked_words(ask(world, part, bytes.fromhex("ec05"), 9, 0.001))
        assert got is not None
        return got[0]

    plain = reading("")
    altitude = "2427" + words.with_checks([640]).hex()
    pressure = "e000" + words.with_checks([939]).hex()
    assert plain / reading(altitude) == pytest.approx(938.8 / 1013.25, abs=0.01)
    assert plain / reading(pressure) == pytest.approx(938.8 / 1013.25, abs=0.01)


def test_the_scd4xs_lesser_commands(world: World) -> None:
    """Offset, altitude, single shot, power-down and factory reset do as the sheet says.

    Offset 5.4 C is 07e6, altitude 1950 m is 079e (sensor notes, commands scd4x).
    """
    part = world.make(EmulatedScd4x)
    world.pass_(1.0)

    def tell(command: str, wait_s: float = 0.001) -> None:
        part.write(bytes.fromhex(command))
        world.pass_(wait_s)

    tell("241d 07e6 48")
    assert ask(world, part, b"\x23\x18", 3, 0.001) == bytes.fromhex("07e648")
    tell("2427 079e 09")
    assert ask(world, part, b"\x23\x22", 3, 0.001) == bytes.fromhex("079e09")
    tell("219d", 5.0)
    assert len(ask(world, part, b"\xec\x05", 9, 0.001)) == 9
    tell("36e0")
    with pytest.raises(Nack):
        part.write(b"\x36\x82")
    tell("36f6", 0.02)
    tell("3646", 0.03)  # back to what the EEPROM holds: nothing was persisted
    assert ask(world, part, b"\x23\x22", 3, 0.001) == bytes.fromhex("000081")
    tell("2416 0000 81")
    tell("3615", 0.8)
    tell("3632", 1.2)
    assert part.self_calibration
    tell("21ac")
    world.pass_(6.0)
    assert ask(world, part, b"\xe4\xb8", 3, 0.001) == bytes.fromhex("8000a2")
    world.pass_(25.0)
    assert ask(world, part, b"\xe4\xb8", 3, 0.001) == bytes.fromhex("800604")
    with pytest.raises(Nack):
        part.write(b"\x12\x34")
    with pytest.raises(Nack):
        part.write(b"\x21\xac")  # it measures
