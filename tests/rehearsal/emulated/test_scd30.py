"""The emulated SCD30: other people's drivers, what outlives a loss of power."""

import struct
from dataclasses import replace

import adafruit_scd30
import pytest

from cabinvigil.daemon.rehearsal.emulated import words
from cabinvigil.daemon.rehearsal.emulated.scd30 import EmulatedScd30
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.other_drivers import ByBuffers, attached, channel
from tests.rehearsal.emulated.world import World, ask


def _up(world: World) -> EmulatedScd30:
    part: EmulatedScd30 = world.make(EmulatedScd30)
    world.pass_(2.0)
    return part


def _tell(world: World, part: EmulatedScd30, command: str) -> None:
    part.write(bytes.fromhex(command))
    world.pass_(0.01)


def _reading(world: World, part: EmulatedScd30) -> tuple[float, ...]:
    got = words.checked_words(ask(world, part, b"\x03\x00", 18, 0.003))
    assert got is not None
    return struct.unpack(">3f", struct.pack(">6H", *got))


def test_the_makers_driver_reads_the_scd30(world: World) -> None:
    """The maker's own Python driver starts the part, waits, and reads the air."""
    device = pytest.importorskip("sensirion_i2c_scd30.device")
    part = _up(world)
    theirs = device.Scd30Device(channel(attached(0x61, part), 0x61))
    theirs.stop_periodic_measurement()
    assert theirs.get_auto_calibration_status() == 0  # as delivered
    theirs.activate_auto_calibration(1)
    assert part.self_calibration
    assert theirs.get_measurement_interval() == 2
    theirs.set_temperature_offset(200)
    assert theirs.get_temperature_offset() == 200
    assert theirs.read_firmware_version() == (3, 66)
    theirs.start_periodic_measurement(1013)
    assert theirs.get_data_ready() == 0
    for _ in range(2):  # the first is empty
        world.pass_(2.0)
        assert theirs.get_data_ready() == 1
        co2, temp, humidity = theirs.read_measurement_data()
    # Class of the part: +-(30 ppm + 3 %).
    assert co2 == pytest.approx(1523, abs=30 + 0.03 * 1523)
    assert temp == pytest.approx(16.5, abs=0.5)
    assert humidity == pytest.approx(54.8, abs=6)
    assert part.pressure_hpa == 1013
    theirs.soft_reset()
    assert part.pressure_hpa == 0


def test_another_driver_reads_the_scd30(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second, independent driver finds the same part."""
    monkeypatch.setattr(adafruit_scd30.time, "sleep", world.pass_)
    bus = attached(0x61, _up(world))
    device = adafruit_scd30.SCD30(ByBuffers(bus), ambient_pressure=1013)
    assert not device.self_calibration_enabled
    device.altitude = 640
    assert device.altitude == 640
    assert device.firmware_version == "3.66"
    world.pass_(2.0)
    assert device.data_available
    assert device.CO2 == 0.0  # the first is empty
    world.pass_(2.0)
    assert pytest.approx(1523, abs=30 + 0.03 * 1523) == device.CO2


def test_the_scd30_answers_after_two_seconds_and_three_milliseconds(
    world: World,
) -> None:
    """It boots for 2 s; a read header needs more than 3 ms behind its write."""
    part = world.make(EmulatedScd30)
    world.pass_(1.9)
    with pytest.raises(Nack):
        part.write(b"\x53\x06")
    world.pass_(0.1)
    part.write(b"\x53\x06")
    with pytest.raises(Nack):
        part.read(3)
    world.pass_(0.003)
    assert part.read(3) == bytes.fromhex("000081")
    with pytest.raises(Nack):  # once
        part.read(3)


def test_the_scd30_measures_on_after_a_loss_of_power(world: World) -> None:
    """Mode, self-calibration and altitude are kept for good; the pressure is not."""
    part = _up(world)
    for command in (
        "5306 0001 b0",
        "5102 03e8 d4",
        "0010" + words.with_checks([940]).hex(),
    ):
        _tell(world, part, command)
    assert part.pressure_hpa == 940
    part.power_up()
    assert (part.pressure_hpa, part.self_calibration) == (0, True)
    assert part.kept[0x5102] == 1000
    world.pass_(4.0)
    assert ask(world, part, b"\x02\x02", 3, 0.003) == bytes.fromhex("0001b0")


def test_the_scd30_gives_a_measurement_once(world: World) -> None:
    """A read empties the buffer; while stopped it measures nothing."""
    part = _up(world)
    assert ask(world, part, b"\x02\x02", 3, 0.003) == bytes.fromhex("000081")
    _tell(world, part, "0010 0000 81")
    world.pass_(2.0)
    assert _reading(world, part)[0] == 0.0
    with pytest.raises(Nack):
        ask(world, part, b"\x03\x00", 18, 0.003)
    world.pass_(2.0)
    assert _reading(world, part)[0] > 1000.0
    _tell(world, part, "0104")
    world.pass_(4.0)
    with pytest.raises(Nack):
        ask(world, part, b"\x03\x00", 18, 0.003)


def test_the_scd30_takes_no_word_with_a_wrong_check(world: World) -> None:
    """Nor an unknown command, nor half of one."""
    part = _up(world)
    for wrong in ("5306 0001 b1", "53", "9999 0001 b0", "9999", "5204 01c2 50"):
        _tell(world, part, wrong)
    part.write(b"")
    assert not part.self_calibration
    assert ask(world, part, b"\x52\x04", 3, 0.003) == words.with_checks([400])


def test_the_scd30_is_recalibrated_and_forgets_the_reference(world: World) -> None:
    """The target is read back until it loses its power, then 400 again."""
    world.air = replace(world.air, co2_ppm=900.0)
    part = _up(world)
    _tell(world, part, "0010" + words.with_checks([1013]).hex())
    world.pass_(4.0)
    _tell(world, part, "5204 01c2 50")
    assert ask(world, part, b"\x52\x04", 3, 0.003) == bytes.fromhex("01c250")
    world.pass_(4.0)
    _reading(world, part)
    world.pass_(2.0)
    assert _reading(world, part)[0] == pytest.approx(450, abs=25)
    part.power_up()
    world.pass_(2.0)
    assert ask(world, part, b"\x52\x04", 3, 0.003) == words.with_checks([400])


def test_the_scd30_reads_low_in_thin_air_until_it_is_told(world: World) -> None:
    """By pressure, or by altitude while no pressure is told."""
    world.air = replace(world.air, co2_ppm=10000.0, pressure_hpa=938.8)

    def reading(*settings: str) -> float:
        part = _up(world)
        for setting in settings:
            _tell(world, part, setting)
        for _ in range(2):
            world.pass_(2.0)
            ppm, *_ = _reading(world, part)
        return ppm

    plain = reading("0010 0000 81")
    altitude = reading("5102" + words.with_checks([640]).hex(), "0010 0000 81")
    pressure = reading("0010" + words.with_checks([939]).hex())
    assert plain / altitude == pytest.approx(938.8 / 1013.25, abs=0.01)
    assert plain / pressure == pytest.approx(938.8 / 1013.25, abs=0.01)
