"""The emulated SEN6x: other people's drivers, what it refuses, what fails inside."""

from dataclasses import replace
from typing import Any

import adafruit_sen6x
import pytest

from cabinvigil.daemon.rehearsal.emulated import words
from cabinvigil.daemon.rehearsal.emulated.sen6x import READS, EmulatedSen6x
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.other_drivers import ByBuffers, attached, channel
from tests.rehearsal.emulated.world import World, ask


def _up(world: World, **options: Any) -> EmulatedSen6x:
    part: EmulatedSen6x = world.make(EmulatedSen6x, **options)
    world.pass_(1.0)
    return part


def _tell(world: World, part: EmulatedSen6x, command: str, wait_s: float = 1.4) -> None:
    part.write(bytes.fromhex(command))
    world.pass_(wait_s)


def _said(world: World, part: EmulatedSen6x, command: str, count: int) -> list[int]:
    found = words.checked_words(
        ask(world, part, bytes.fromhex(command), 3 * count, 0.02)
    )
    assert found is not None
    return found


def test_the_makers_driver_reads_the_sen66(world: World) -> None:
    """The maker's own Python driver starts the part, waits, and reads the air."""
    device = pytest.importorskip("sensirion_i2c_sen66.device")
    part = _up(world)
    theirs = device.Sen66Device(channel(attached(0x6B, part), 0x6B))
    assert theirs.get_product_type() == "00085300"
    assert theirs.get_product_name() == "SEN66"
    assert theirs.get_serial_number().startswith("EMULATED")
    assert theirs.get_version() == (4, 0)
    assert theirs.get_co2_sensor_automatic_self_calibration()[1] is True
    theirs.set_co2_sensor_automatic_self_calibration(0)
    assert not part.calibrates_itself
    theirs.set_sensor_altitude(640)
    assert theirs.get_sensor_altitude() == 640
    assert theirs.get_ambient_pressure() == 939
    theirs.set_ambient_pressure(1013)
    theirs.start_continuous_measurement()
    assert theirs.get_data_ready()[1] is False
    world.pass_(30.0)
    assert theirs.get_data_ready()[1] is True
    pm1, pm2_5, pm4, pm10, humidity, temp, voc, nox, co2 = (
        float(one.value) if hasattr(one, "value") else one
        for one in theirs.read_measured_values()
    )
    assert pm1 <= pm2_5 <= pm4 <= pm10
    assert humidity == pytest.approx(54.8, abs=2.0)
    assert temp == pytest.approx(16.5, abs=0.5)
    assert (voc, nox) == (pytest.approx(100.0, abs=3.0), pytest.approx(1.0, abs=2.0))
    assert co2 == pytest.approx(1523, abs=50 + 0.05 * 1523)
    part.fails = 1 << 11
    assert theirs.read_device_status().pm_error
    assert theirs.read_and_clear_device_status().pm_error
    part.fails = 0
    assert not theirs.read_device_status().pm_error
    theirs.device_reset()
    assert theirs.get_ambient_pressure() == 1013
    assert not part.calibrates_itself  # kept


def test_another_driver_reads_the_sen63c(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second, independent driver finds the member without gas indices."""
    monkeypatch.setattr(adafruit_sen6x.time, "sleep", world.pass_)
    part = _up(world, model="SEN63C")
    device = adafruit_sen6x.SEN63C(ByBuffers(attached(0x6B, part)))
    assert device.product_name == "SEN63C"
    device.start_measurement()
    world.pass_(2.0)
    assert device.data_ready
    assert device.all_measurements()["co2"] is None  # for 24 s
    world.pass_(30.0)
    assert device.data_ready
    found = device.all_measurements()
    assert found["co2"] == pytest.approx(1523, abs=50 + 0.05 * 1523)
    assert found["humidity"] == pytest.approx(54.8, abs=2.0)


@pytest.mark.parametrize("model", READS)
def test_a_member_has_its_own_measurement_alone(world: World, model: str) -> None:
    """Another's command is not acknowledged; without a measurement all is unknown."""
    part = _up(world, model=model)
    count = {"SEN63C": 7, "SEN65": 8, "SEN66": 9, "SEN68": 9}[model]
    for other, command in READS.items():
        if other != model:
            with pytest.raises(Nack):
                part.write(command.to_bytes(2, "big"))
    none = _said(world, part, f"{READS[model]:04x}", count)
    assert set(none) <= {0xFFFF, 0x7FFF}
    _tell(world, part, "0021")
    world.pass_(40.0)
    full = _said(world, part, f"{READS[model]:04x}", count)
    assert full[4:6] == [pytest.approx(5480, abs=200), pytest.approx(3300, abs=100)]


def test_the_sen6x_refuses_settings_while_measuring(world: World) -> None:
    """Self-calibration and altitude are set in idle alone, pressure at any time."""
    part = _up(world)
    _tell(world, part, "0021")
    for command in ("6711 0000 81", "6736 0280 26", "5607"):
        _tell(world, part, command)
    assert (part.calibrates_itself, part.altitude_m) == (True, 0)
    _tell(world, part, "6720 03db 42")
    assert part.pressure_hpa == 987
    _tell(world, part, "0104")
    _tell(world, part, "5607")
    _tell(world, part, "6711 0000 80")  # a wrong check
    assert part.calibrates_itself
    _tell(world, part, "6711 0000 81")
    assert not part.calibrates_itself


def test_the_sen6x_is_busy_and_starts_up(world: World) -> None:
    """A second after power-up, 1.4 s after a stop, 20 ms before an answer."""
    part = world.make(EmulatedSen6x)
    with pytest.raises(Nack):
        part.write(b"\xd0\x02")
    world.pass_(1.0)
    part.write(b"")
    part.write(b"\x01\x04")
    world.pass_(1.3)
    with pytest.raises(Nack):
        part.write(b"\xd0\x02")
    world.pass_(0.1)
    part.write(b"\xd0\x02")
    with pytest.raises(Nack):
        part.read(12)
    world.pass_(0.02)
    assert part.read(12) == words.with_checks([0x3030, 0x3038, 0x3533, 0x3030])
    for wrong in (b"\x99\x99", b"\x99"):
        with pytest.raises(Nack):
            part.write(wrong)


def test_a_loss_of_power_stops_it(world: World) -> None:
    """It stands still without pressure or altitude; self-calibration is kept."""
    part = _up(world)
    _tell(world, part, "6711 0000 81")
    _tell(world, part, "0021")
    _tell(world, part, "0021")  # once more has no effect
    world.pass_(3.0)
    assert _said(world, part, "0202", 1) == [1]
    part.power_up()
    world.pass_(3.0)
    assert _said(world, part, "0202", 1) == [0]
    assert not part.calibrates_itself


def test_the_sen66_is_recalibrated_after_three_minutes_only(world: World) -> None:
    """Failed is ffff; the correction is the answer less 8000."""
    world.air = replace(world.air, co2_ppm=600.0)
    part = _up(world)
    target = "6707" + words.with_checks([425]).hex()

    def answer() -> list[int]:
        part.write(bytes.fromhex(target))
        world.pass_(0.5)
        return words.checked_words(part.read(3)) or []

    assert answer() == [0xFFFF]
    _tell(world, part, "0021")
    world.pass_(200.0)
    _tell(world, part, "0104")
    assert answer()[0] - 0x8000 == pytest.approx(-175, abs=110)
    _tell(world, part, "0021")
    world.pass_(10.0)
    assert _said(world, part, "0300", 9)[8] == pytest.approx(425, abs=20)


def test_gas_and_height_move_its_indices_and_its_co2(world: World) -> None:
    """Vapours and nitrogen oxides against the usual air; thin air reads low."""
    world.air = replace(world.air, voc_ppb=1500.0, nox_ppb=400.0, pressure_hpa=812.0)
    part = _up(world)
    _tell(world, part, "0021", 0.05)
    world.pass_(4.0)
    early = _said(world, part, "0300", 9)
    assert (early[7], early[8]) == (0x7FFF, 0xFFFF)
    world.pass_(10.0)
    *_, voc, nox, thin = _said(world, part, "0300", 9)
    assert voc > 2500
    assert nox >= 20
    _tell(world, part, "6720" + words.with_checks([812]).hex())
    assert thin / _said(world, part, "0300", 9)[8] == pytest.approx(0.80, abs=0.03)
