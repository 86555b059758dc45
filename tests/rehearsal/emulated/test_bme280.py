"""The emulated BME280: its curve and the inverse, other people's drivers, its modes."""

import adafruit_bme280.basic
import bme280
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.rehearsal.emulated.bme280 import (
    EmulatedBme280,
    Trimming,
    inverse,
)
from cabinvigil.daemon.rehearsal.emulated.ways import Nack
from tests.rehearsal.emulated.other_drivers import ByBuffers, ByWords, attached
from tests.rehearsal.emulated.world import World, ask


def test_the_compensation_gives_the_worked_example() -> None:
    """Raw 519888, 415148, 28400 are 25.0825 C, 1006.5327 hPa, 47.1022 %RH.

    Sensor notes, vector bme280 (RPi.bme280 0.2.4 and adafruit 2.6.32, float).
    """
    trimming = Trimming()
    fine = trimming.fine(519888)
    assert fine == pytest.approx(128422, abs=0.5)
    assert trimming.temp_c(519888) == pytest.approx(25.0825, abs=1e-4)
    assert trimming.pressure_hpa(415148, fine) == pytest.approx(1006.5327, abs=1e-4)
    assert trimming.rh_pct(28400, fine) == pytest.approx(47.1022, abs=1e-4)


def test_the_calibration_registers_are_those_of_the_vectors() -> None:
    """The same constants stand in 88..a1 and e1..e7 as in the sensor notes."""
    low, high = Trimming().registers()
    assert low == bytes.fromhex(
        "70 6b 43 67 18 fc 7d 8e 43 d6 d0 0b 27 0b 8c 00 f9 ff 8c 3c f8 c6 70 17 00 4b"
    )
    assert high == bytes.fromhex("72 01 00 13 29 03 1e")


@given(st.floats(-30.0, 60.0), st.floats(600.0, 1080.0), st.floats(5.0, 95.0))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_the_inverse_is_one(temp_c: float, pressure_hpa: float, rh_pct: float) -> None:
    """Bisection finds raw values that compensate back, to one step of the part."""
    trimming = Trimming()
    raw = inverse(trimming.temp_c, temp_c, 20)
    fine = trimming.fine(raw)
    assert trimming.temp_c(raw) == pytest.approx(temp_c, abs=0.006)
    raw = inverse(lambda r: trimming.pressure_hpa(r, fine), pressure_hpa, 20)
    assert trimming.pressure_hpa(raw, fine) == pytest.approx(pressure_hpa, abs=0.002)
    raw = inverse(lambda r: trimming.rh_pct(r, fine), rh_pct, 16)
    assert trimming.rh_pct(raw, fine) == pytest.approx(rh_pct, abs=0.02)


# Its driver stamps readings by `utcnow`, which Python 3.12 and later warn of.
@pytest.mark.filterwarnings("ignore:datetime.datetime.utcnow:DeprecationWarning")
def test_one_driver_reads_the_bme280(world: World) -> None:
    """RPi.bme280 reads the trimming and the air."""
    part = world.make(EmulatedBme280)
    world.pass_(1.0)
    bus = ByWords(attached(0x76, part))
    trim = bme280.load_calibration_params(bus, 0x76)
    assert trim.dig_T1 == part.trimming.t[0]
    assert trim.dig_P9 == part.trimming.p[8]
    assert trim.dig_H4 == part.trimming.h[3]
    bus.write_byte_data(0x76, 0xF2, 1)
    bus.write_byte_data(0x76, 0xF4, 1 << 5 | 1 << 2 | 1)
    world.pass_(0.02)
    raw = bme280.uncompensated_readings(bus.read_i2c_block_data(0x76, 0xF7, 8))
    got = bme280.compensated_readings(raw, trim)
    assert got.temperature == pytest.approx(16.5, abs=1.5)
    assert got.pressure == pytest.approx(1013.25, abs=1.2)
    assert got.humidity == pytest.approx(54.8, abs=5)


def test_another_driver_reads_the_bme280(world: World) -> None:
    """A second, independent driver finds the same part, in its own order of writes."""
    bus = ByBuffers(attached(0x77, world.make(EmulatedBme280)))
    world.pass_(1.0)
    device = adafruit_bme280.basic.Adafruit_BME280_I2C(bus)
    assert device.pressure == pytest.approx(1013.25, abs=1.2)
    assert device.temperature == pytest.approx(16.5, abs=1.5)
    assert device.relative_humidity == pytest.approx(54.8, abs=5)


def test_a_sleeping_bme280_holds_what_it_held(world: World) -> None:
    """After a reset f4 is 00 and the data registers hold 80000, 80000, 8000."""
    part = world.make(EmulatedBme280)
    world.pass_(0.01)
    assert ask(world, part, b"\xd0", 1) == b"\x60"
    part.write(bytes.fromhex("f201 f425"))
    assert ask(world, part, b"\xf3", 1) == b"\x08"  # measuring
    world.pass_(0.0115)
    assert ask(world, part, b"\xf3", 1) == b"\x00"
    assert ask(world, part, b"\xf4", 1) == b"\x24"  # asleep again, settings kept
    held = ask(world, part, b"\xf7", 8)
    world.pass_(60.0)
    assert ask(world, part, b"\xf7", 8) == held
    part.write(b"\xe0\xb6")
    with pytest.raises(Nack):  # it starts up
        part.write(b"\xf4")
    world.pass_(0.002)
    assert ask(world, part, b"\xf4", 1) == b"\x00"
    assert ask(world, part, b"\xf7", 8) == bytes.fromhex("80 00 00 80 00 00 80 00")


def test_the_bme280_takes_humidity_over_with_the_other_setting(world: World) -> None:
    """ctrl_hum works only once ctrl_meas is written; before, humidity is skipped."""
    part = world.make(EmulatedBme280)
    world.pass_(0.01)
    part.write(bytes.fromhex("f425 f201"))
    world.pass_(0.02)
    assert ask(world, part, b"\xf7", 8)[6:] == b"\x80\x00"
    part.write(b"\xf4\x25")
    world.pass_(0.02)
    assert ask(world, part, b"\xf7", 8)[6:] != b"\x80\x00"
