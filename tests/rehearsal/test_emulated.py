"""Emulated parts: their bytes against published vectors and other people's drivers.

The vectors are those of the project's sensor notes (their origin stands beside each);
the libraries are general-purpose drivers of the parts, which know nothing of us.
"""

import asyncio
import math
import re
import struct
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import adafruit_bme280.basic
import adafruit_scd4x
import adafruit_sht4x
import bme280
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sensirion_driver_adapters.i2c_adapter.i2c_channel import I2cChannel
from sensirion_i2c_driver import CrcCalculator, I2cConnection
from sensirion_i2c_scd4x.device import Scd4xDevice
from sensirion_i2c_sht4x.device import Sht4xDevice
from smbus2 import i2c_msg

from cabinvigil.daemon.rehearsal.emulated import ds18b20, frame9, known, words
from cabinvigil.daemon.rehearsal.emulated.ads1115 import EmulatedAds1115, converter
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.bme280 import (
    EmulatedBme280,
    Trimming,
    inverse,
)
from cabinvigil.daemon.rehearsal.emulated.cells import CoCell, GalvanicO2Cell
from cabinvigil.daemon.rehearsal.emulated.ds18b20 import EmulatedDs18b20
from cabinvigil.daemon.rehearsal.emulated.frame9 import (
    EmulatedFrame9Co,
    EmulatedFrame9Co2,
    EmulatedFrame9O2,
)
from cabinvigil.daemon.rehearsal.emulated.ina226 import EmulatedIna226
from cabinvigil.daemon.rehearsal.emulated.o2_key import EmulatedO2Key
from cabinvigil.daemon.rehearsal.emulated.o2_line import EmulatedO2Line
from cabinvigil.daemon.rehearsal.emulated.pm_frame import EmulatedPmFrame
from cabinvigil.daemon.rehearsal.emulated.scd4x import EmulatedScd4x
from cabinvigil.daemon.rehearsal.emulated.sgp41 import EmulatedSgp41
from cabinvigil.daemon.rehearsal.emulated.sht4x import EmulatedSht4x
from cabinvigil.daemon.rehearsal.emulated.sps30 import EmulatedSps30
from cabinvigil.daemon.rehearsal.emulated.tmp117 import EmulatedTmp117
from cabinvigil.daemon.rehearsal.emulated.ways import Drift, Lag, Nack
from cabinvigil.daemon.rehearsal.faulty import FaultySMBus
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from cabinvigil.daemon.sampling.sampler import PolledSampler
from tests.emulation import Cabin, live


class World:
    """An air that tests set, and a time that they move."""

    def __init__(self, **air: Any) -> None:
        self.air = AirNow(**air)
        self.now_s = 0.0

    def see(self) -> AirNow:
        return self.air

    def now(self) -> float:
        return self.now_s

    def make(self, kind: Callable[..., Any], seed: int = 1, **options: Any) -> Any:
        return kind(self.see, seed, self.now, **options)

    def pass_(self, seconds: float) -> None:
        self.now_s += seconds


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> World:
    """A world whose time passes when a library sleeps."""
    world = World(co2_ppm=1523.0, temp_c=16.5, rh_pct=54.8, pressure_hpa=1013.25)
    monkeypatch.setattr(time, "sleep", world.pass_)
    monkeypatch.setattr(adafruit_bme280.basic, "sleep", world.pass_)
    return world


def ask(world: World, part: Any, tx: bytes, length: int, wait_s: float = 0.0) -> bytes:
    part.write(tx)
    world.pass_(wait_s)
    return bytes(part.read(length))


def word(data: bytes) -> int:
    return int.from_bytes(data[:2], "big")


# --- checks and shapes of bytes ---------------------------------------------------


@pytest.mark.parametrize(
    ("data", "check"),
    [("beef", 0x92), ("0000", 0x81), ("ffff", 0xAC), ("01f4", 0x33), ("7fce", 0x7B)],
)
def test_the_word_check_is_the_published_one(data: str, check: int) -> None:
    """CRC-8 of the Sensirion parts (sensor notes 0.2; sensirion-i2c-scd4x 1.0.0)."""
    assert words.check_byte(bytes.fromhex(data)) == check


def test_the_word_check_is_the_makers(world: World) -> None:
    """All 65536 words give the check of the maker's own calculator."""
    theirs = CrcCalculator(8, 0x31, 0xFF)
    for value in range(0, 65536, 7):
        data = value.to_bytes(2, "big")
        assert words.check_byte(data) == theirs(data)


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


@pytest.mark.parametrize(
    "pad",
    [
        "50 05 4b 46 7f ff 0c 10 1c",  # library pamoja-sensors 0.2.0, 85.0 C
        "91 01 4b 46 7f ff 0c 10 70",  # 25.0625 C
        "5e ff 4b 46 7f ff 0c 10 6a",  # -10.125 C
        "90 fc 4b 46 7f ff 0c 10 4f",  # -55.0 C
    ],
)
def test_the_wire_check_is_the_published_one(pad: str) -> None:
    """The CRC of the 1-wire scratchpad (sensor notes, vectors ds18b20)."""
    data = bytes.fromhex(pad)
    assert ds18b20.check_byte(data[:8]) == data[8]


def test_the_kernels_text_is_spelled_as_the_kernel_does() -> None:
    """Both texts of the vectors, good and with a failed check, come out alike."""
    good = bytes.fromhex("91 01 4b 46 7f ff 0c 10 70")
    assert ds18b20.w1_text(good) == (
        b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=25062\n"
    )
    bad = ds18b20.w1_text(b"\xff" * 9)
    assert bad == (
        b"ff ff ff ff ff ff ff ff ff : crc=c9 NO\nff ff ff ff ff ff ff ff ff t=-62\n"
    )


# --- BME280: the curve and its inverse --------------------------------------------


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


# --- other people's drivers on the emulated parts ---------------------------------


class ByWords:
    """The calls of smbus that RPi.bme280 uses, on the emulated bus."""

    def __init__(self, bus: EmulatedSMBus) -> None:
        self.bus = bus

    def read_i2c_block_data(self, address: int, register: int, length: int) -> Any:
        read = i2c_msg.read(address, length)
        self.bus.i2c_rdwr(i2c_msg.write(address, [register]), read)
        return list(bytes(read))

    def read_byte_data(self, address: int, register: int) -> int:
        return int(self.read_i2c_block_data(address, register, 1)[0])

    def read_word_data(self, address: int, register: int) -> int:
        low, high = self.read_i2c_block_data(address, register, 2)
        return int(high << 8 | low)

    def write_byte_data(self, address: int, register: int, value: int) -> None:
        self.bus.i2c_rdwr(i2c_msg.write(address, [register, value]))


class ByBuffers:
    """The calls of a CircuitPython bus, on the emulated bus."""

    def __init__(self, bus: EmulatedSMBus) -> None:
        self.bus = bus

    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None:
        pass

    def writeto(
        self, address: int, buffer: Any, *, start: int = 0, end: int | None = None
    ) -> None:
        self.bus.i2c_rdwr(i2c_msg.write(address, bytes(buffer)[start:end]))

    def readfrom_into(
        self, address: int, buffer: Any, *, start: int = 0, end: int | None = None
    ) -> None:
        end = len(buffer) if end is None else end
        read = i2c_msg.read(address, end - start)
        self.bus.i2c_rdwr(read)
        buffer[start:end] = bytes(read)


class Transceiver:
    """The maker's own way to a bus, on the emulated bus."""

    API_VERSION = 1
    channel_count = None

    def __init__(self, bus: EmulatedSMBus) -> None:
        self.bus = bus

    def transceive(
        self,
        slave_address: int,
        tx_data: Any,
        rx_length: Any,
        read_delay: float,
        timeout: float,
    ) -> tuple[int, Any, bytes]:
        if tx_data:
            self.bus.i2c_rdwr(i2c_msg.write(slave_address, tx_data))
        time.sleep(read_delay)
        if not rx_length:
            return 0, None, b""
        read = i2c_msg.read(slave_address, rx_length)
        self.bus.i2c_rdwr(read)
        return 0, None, bytes(read)


def attached(address: int, part: Any) -> EmulatedSMBus:
    bus = EmulatedSMBus()
    bus.attach(address, part)
    return bus


def channel(bus: EmulatedSMBus, address: int) -> I2cChannel:
    return I2cChannel(
        I2cConnection(Transceiver(bus)),
        slave_address=address,
        crc=CrcCalculator(8, 0x31, 0xFF, 0x0),
    )


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


def test_the_makers_driver_reads_the_sht4x(world: World) -> None:
    """Temperature, humidity and serial number come through the maker's own driver."""
    device = Sht4xDevice(channel(attached(0x44, world.make(EmulatedSht4x)), 0x44))
    world.pass_(0.01)
    temp, humidity = device.measure_high_precision()
    assert temp.value == pytest.approx(16.5, abs=0.6)
    assert humidity.value == pytest.approx(54.8, abs=5)
    hot, dry = device.activate_highest_heater_power_long()
    assert hot.value > 50.0
    assert dry.value < 20.0


def test_another_driver_reads_the_sht4x(world: World) -> None:
    """A second, independent driver finds the same air."""
    bus = attached(0x44, world.make(EmulatedSht4x))
    world.pass_(0.01)
    device = adafruit_sht4x.SHT4x(ByBuffers(bus))
    temp_c, rh_pct = device.measurements
    assert temp_c == pytest.approx(16.5, abs=0.6)
    assert rh_pct == pytest.approx(54.8, abs=5)
    assert device.serial_number != 0


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


# --- parts refuse as the real ones do ---------------------------------------------


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


def test_the_sht4x_refuses_its_address_while_it_measures(world: World) -> None:
    """8.3 ms for the high precision; nothing to read without a command."""
    part = world.make(EmulatedSht4x)
    world.pass_(0.01)
    with pytest.raises(Nack):
        part.read(6)
    part.write(b"\xfd")
    world.pass_(0.005)
    with pytest.raises(Nack):
        part.read(6)
    world.pass_(0.0034)
    assert words.checked_words(part.read(6)) is not None


def test_a_wet_sht4x_stays_at_the_top_for_a_while(world: World) -> None:
    """A film of water holds 100 %RH after the air has dried, for as long again."""
    world.air = replace(world.air, rh_pct=104.0)
    part = world.make(EmulatedSht4x)

    def rh_pct() -> float:
        part.write(b"\xfd")
        world.pass_(10.0)
        got = words.checked_words(part.read(6))
        assert got is not None
        return -6 + 125 * got[1] / 65535

    for _ in range(12):
        world.pass_(10.0)
        rh_pct()
    world.air = replace(world.air, rh_pct=70.0)
    assert rh_pct() > 95.0
    for _ in range(30):
        world.pass_(10.0)
        last = rh_pct()
    assert last == pytest.approx(70.0, abs=6.0)


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


def test_the_sgp41_follows_voc_downwards(world: World) -> None:
    """Fewer ticks are more VOC; the self-test passes with d400 (SGP40 p.14)."""
    part = world.make(EmulatedSgp41)
    world.pass_(0.01)
    assert ask(world, part, bytes.fromhex("280e"), 3, 0.32) == bytes.fromhex("d400c6")
    command = bytes.fromhex("2619 8000 a2 6666 93")  # vector 'measure_raw default'

    def voc() -> int:
        got = words.checked_words(ask(world, part, command, 6, 0.05))
        assert got is not None
        return got[0]

    voc()
    world.pass_(60.0)
    clean = voc()
    world.air = replace(world.air, voc_ppb=1500.0)
    assert voc() < clean - 1000


def test_the_ads1115_gives_the_vectors_of_a_cell() -> None:
    """11.25 mV at gain 16 are 1440 counts, 05a0; -256 mV clips at 8000.

    Sensor notes, vectors ads1115 (adafruit-circuitpython-ads1x15 3.0.5).
    """
    world = World()
    volts = {"0-1": lambda: 0.01125}
    part = converter(volts, 1, world.now)
    assert ask(world, part, b"\x01", 2) == bytes.fromhex("8583")  # factory value
    assert ask(world, part, b"\x00", 2) == b"\0\0"  # nothing converted yet
    part.write(bytes.fromhex("01 8b 03"))
    assert not ask(world, part, b"\x01", 2)[0] & 0x80  # converting
    world.pass_(0.1375)
    assert ask(world, part, b"\x01", 2) == bytes.fromhex("8b03")
    assert word(ask(world, part, b"\x00", 2)) == pytest.approx(1440, abs=3)
    reversed_ = EmulatedAds1115([lambda: -0.3], 1, world.now)
    reversed_.write(bytes.fromhex("01 8b 03"))
    world.pass_(0.2)
    assert ask(world, reversed_, b"\x00", 2) == bytes.fromhex("8000")


def test_the_ina226_gives_the_data_sheets_example() -> None:
    """11.98 V, 10 A over 2 mOhm: 2570, 1f40, 2710, 12b8 (June 2011, p.16 table 1)."""
    world = World(supply_v=11.98, supply_a=10.0)
    part = world.make(EmulatedIna226)
    assert (
        ask(world, part, b"\xfe", 2) + ask(world, part, b"\xff", 2)
        == b"\x54\x49\x22\x60"
    )
    assert word(ask(world, part, b"\x02", 2)) == pytest.approx(0x2570, abs=4)
    assert word(ask(world, part, b"\x01", 2)) == pytest.approx(0x1F40, abs=20)
    assert word(ask(world, part, b"\x04", 2)) == 0  # no calibration: exactly nothing
    part.write(bytes.fromhex("05 0a 00"))
    assert word(ask(world, part, b"\x04", 2)) == pytest.approx(0x2710, abs=25)
    assert word(ask(world, part, b"\x03", 2)) == pytest.approx(0x12B8, abs=20)
    part.write(bytes.fromhex("00 80 00"))
    assert word(ask(world, part, b"\x05", 2)) == 0  # a reset forgets it


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


def test_the_o2_key_module_wants_its_wait(world: World) -> None:
    """20.9 % at 1013 hPa with key 208 are about 64 04 08; the key needs 50 ms."""
    world.air = replace(world.air, o2_pct=20.9)
    part = world.make(EmulatedO2Key)
    whole, tenths, hundredths = ask(world, part, b"\x03", 3)
    raw = whole + tenths / 10 + hundredths / 100
    assert raw * 0.208 == pytest.approx(20.9, abs=0.5)
    assert ask(world, part, b"\x0a", 1) == b"\0"
    assert ask(world, part, b"\x0a", 1, 0.05) == bytes([208])


# --- serial parts -----------------------------------------------------------------

LINE = re.compile(
    rb"O \d{4}\.\d T [+-]\d\d\.\d P (\d{4}|----) % (\d{3}\.\d\d|-{6}) e \d{4}\r\n"
)


def test_the_o2_line_has_the_vectors_form(world: World) -> None:
    """The stream's form is that of the vectors, with and without a pressure cell."""
    assert LINE.fullmatch(b"O 0212.3 T +22.5 P 1013 % 020.95 e 0000\r\n")
    world.air = replace(world.air, temp_c=-5.1)
    assert LINE.fullmatch(world.make(EmulatedO2Line).send())
    bare = world.make(EmulatedO2Line, has_pressure_cell=False).send()
    assert LINE.fullmatch(bare)
    assert b"P ---- % ------" in bare
    assert b"T -05.1" in bare


def test_the_o2_line_obeys_its_commands(world: World) -> None:
    """M, A, single values and errors answer as in the sensor notes, section 11."""
    part = world.make(EmulatedO2Line)
    assert part.receive(b"M 1") == b""  # no line end yet
    assert part.receive(b"\r\n") == b"M 01\r\n"
    assert part.due_s() is None
    assert LINE.fullmatch(part.receive(b"A\r\n"))
    assert re.fullmatch(rb"% \d{3}\.\d\d\r\n", part.receive(b"%\r\n"))
    assert part.receive(b"e\r\n") == b"e 0000\r\n"
    assert re.fullmatch(rb"# \d{5} \d{5}\r\n", part.receive(b"# 1\r\n"))
    assert part.receive(b"x\r\n") == b"E 00001\r\n"
    assert part.receive(b"M 7\r\n") == b"E 00003\r\n"
    assert part.receive(b"y" * 30) == b"E 00000\r\n"
    assert part.receive(b"M 0\r\n") == b"M 00\r\n"
    assert part.due_s() == 1.0


def test_the_o2_line_stands_still_in_fog(world: World) -> None:
    """Above saturation the disc is wet and the oxygen field freezes; then it moves."""
    part = world.make(EmulatedO2Line)
    world.air = replace(world.air, rh_pct=103.0)
    oxygen = set()
    for _ in range(20):
        world.pass_(1.0)
        oxygen.add(part.send()[2:8])
    assert len(oxygen) == 1
    world.air = replace(world.air, rh_pct=80.0)
    for _ in range(20):
        world.pass_(1.0)
        oxygen.add(part.send()[2:8])
    assert len(oxygen) > 3


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


def test_a_starved_ds18b20_gives_its_power_on_value() -> None:
    """85.0 C with a good check, as parasitic power gives it."""
    part = World(glass_c=3.0).make(EmulatedDs18b20)
    assert b"t=3" in part.text()
    part.is_starved = True
    assert part.text().endswith(b"50 05 4b 46 7f ff 0c 10 1c t=85000\n")


# --- late, noisy, drifting --------------------------------------------------------


def test_a_lag_reaches_63_percent_in_its_time() -> None:
    """A step is followed to 1 - 1/e after one time constant, whatever the sampling."""
    for steps in (1, 7, 60):
        lag = Lag(60.0)
        lag.follow(0.0, 0.0)
        for n in range(1, steps + 1):
            value = lag.follow(1.0, 60.0 * n / steps)
        assert value == pytest.approx(1 - 1 / math.e, abs=1e-9)


def test_a_drift_keeps_its_spread_and_its_memory() -> None:
    """Over many parts the spread is as told, at the start and long after."""
    drifts = [Drift(Random(n), 2.0, 100.0) for n in range(600)]
    start = [drift.at(0.0) for drift in drifts]
    soon = [drift.at(10.0) for drift in drifts]
    late = [drift.at(1000.0) for drift in drifts]
    for values in (start, soon, late):
        spread = math.sqrt(sum(v * v for v in values) / len(values))
        assert spread == pytest.approx(2.0, rel=0.1)
    likeness = sum(a * b for a, b in zip(start, soon, strict=True)) / 600 / 4.0
    assert likeness == pytest.approx(math.exp(-0.1), abs=0.1)


def test_the_galvanic_cell_follows_partial_pressure_and_settles() -> None:
    """9 to 13 mV in 210 mbar; 90 % of a step within 15 s; 3 % high when fresh."""
    world = World(o2_pct=20.725, pressure_hpa=1013.25, temp_c=20.0)
    cell = world.make(GalvanicO2Cell)
    fresh_mv = cell.volts() * 1000
    world.pass_(1000.0)
    settled_mv = cell.volts() * 1000
    assert settled_mv == pytest.approx(cell.air_mv, abs=0.3)
    assert fresh_mv / settled_mv == pytest.approx(1.03, abs=0.01)
    world.air = replace(world.air, o2_pct=0.0)
    world.pass_(15.0)
    assert cell.volts() * 1000 < 0.1 * settled_mv + 0.25
    cell.is_open = True
    assert abs(cell.volts()) < 1e-4


def test_the_co_cell_gives_the_sheets_current() -> None:
    """35 ppm over 10 kOhm are 183.75 mV at the middle of the band (vector co_cell)."""
    world = World(co_ppm=35.0, temp_c=20.0)
    assert world.make(CoCell).volts() * 1000 == pytest.approx(183.75, rel=0.1)
    assert CoCell.relative(50.0) == pytest.approx(1.175)
    assert CoCell.relative(-60.0) == pytest.approx(0.15)


@pytest.mark.parametrize("kind", sorted(known.ON_SERIAL))
def test_a_seed_repeats_itself_and_another_does_not(kind: str) -> None:
    """Two parts of one seed send the same bytes; parts of two seeds differ."""

    def sends(seed: int) -> list[bytes]:
        world = World(co_ppm=40.0, pm2_5_ugm3=90.0, co2_ppm=2000.0)
        part = known.ON_SERIAL[kind](world.see, seed, world.now)
        out = []
        for _ in range(100):
            world.pass_(1.0)
            out.append(part.send())
        return out

    assert sends(3) == sends(3)
    assert sends(3) != sends(4)


TRUTHS = {
    "bme280": ("pressure_hpa", 939.0, 1.2),
    "ds18b20": ("temp_c", 2.0, 0.7),
    "frame9_co": ("co_ppm", 40.0, 8.0),
    "frame9_co2": ("co2_ppm", 1500.0, 130.0),
    "ina226": ("supply_v", 12.6, 0.02),
    "o2_optical_line": ("o2_pct", 20.67, 0.75),
    "pm_frame": ("pm2_5_ugm3", 60.0, 12.0),
    "scd4x": ("co2_ppm", 1500.0, 115.0),
    "sht4x": ("rh_pct", 75.0, 5.5),
    "sps30": ("pm2_5_ugm3", 60.0, 12.0),
    "tmp117": ("temp_c", 2.0, 0.2),
}
"""Quantity, truth, and the class of the part's own sheet (sensor notes)."""


@pytest.mark.parametrize("kind", sorted(TRUTHS))
def test_our_driver_hears_the_truth_from_each_part(kind: str, tmp_path: Path) -> None:
    """Driver and emulated part, written apart, agree on the air within the class."""
    quantity, truth, within = TRUTHS[kind]
    air = AirNow(co_ppm=40.0, co2_ppm=1500.0, pm2_5_ugm3=60.0)
    for_s = 400.0
    cabin = run_virtual(live(tmp_path, {"it": kind}, for_s, air=air))
    values = [s.value for at_s, s in cabin.of("it", quantity) if at_s > 200.0]
    assert sum(values) / len(values) == pytest.approx(truth, abs=within)
    assert all(s.quality == "good" for at_s, s in cabin.of("it", quantity)[-5:])
    assert cabin.events == []


def test_our_drivers_share_one_converter(tmp_path: Path) -> None:
    """An O2 and a CO cell at one address are read in turn, and both read true."""

    async def play() -> Cabin:
        cabin = Cabin(tmp_path, AirNow(co_ppm=40.0))
        see, now = (lambda: cabin.air), cabin.loop.time
        cells = {
            "0-1": known.AT_A_CONVERTER["o2_cell_ads1115"](see, 1, now),
            "2-3": known.AT_A_CONVERTER["co_cell_ads1115"](see, 2, now),
        }
        cabin.smbus.attach(0x48, converter(cells, 3, now))
        cabin.faulty = FaultySMBus(cabin.smbus, {}, (), 1, now)
        # The span of this very cell, as `cabinvigil span` would have kept it.
        await asyncio.sleep(1000.0)
        air_mv = 1000 * cells["0-1"]()
        options = {
            "o2": {"pins": "0-1", "air_mv": air_mv, "air_hpa": 939.0},
            "co": {"pins": "2-3"},
        }
        async with asyncio.TaskGroup() as group:
            tasks = []
            for name, kind in (("o2", "o2_cell_ads1115"), ("co", "co_cell_ads1115")):
                placing = cabin.placing(name, kind)
                codec = placing.info.make(options[name])
                sampler = PolledSampler(replace(placing, codec=codec), cabin.bus, 0x48)
                tasks.append(group.create_task(sampler.run()))
            await asyncio.sleep(600.0)
            for task in tasks:
                task.cancel()
        return cabin

    cabin = run_virtual(play())
    o2 = [s.value for _, s in cabin.of("o2", "o2_pct")][-20:]
    co = [s.value for _, s in cabin.of("co", "co_ppm")][-20:]
    assert sum(o2) / 20 == pytest.approx(20.9, abs=0.3)  # what the span was told
    assert sum(co) / 20 == pytest.approx(40.0, rel=0.1)
    assert cabin.events == []


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


def test_the_o2_key_module_can_be_set(world: World) -> None:
    """Writing 08 sets the key by hand; writing 09 makes the present reading the air's.

    Both last over a power-up (sensor notes 10).
    """
    world.air = replace(world.air, o2_pct=18.0)
    part = world.make(EmulatedO2Key)

    def o2_pct() -> float:
        key = ask(world, part, b"\x0a", 1, 0.05)[0]
        whole, tenths, hundredths = ask(world, part, b"\x03", 3)
        return key / 1000 * (whole + tenths / 10 + hundredths / 100)

    assert o2_pct() == pytest.approx(18.0, abs=0.4)
    part.write(bytes([0x09, 209]))
    part.power_up()
    assert o2_pct() == pytest.approx(20.9, abs=0.2)
    part.write(bytes([0x08, 120]))
    assert ask(world, part, b"\x0a", 1, 0.05) == bytes([120])


def test_the_co2_module_can_be_zeroed(world: World) -> None:
    """The zero command makes the present air 400 ppm for good (library mh_z19)."""
    part = world.make(EmulatedFrame9Co2)
    world.pass_(200.0)
    part.receive(bytes.fromhex("ff 01 87 00 00 00 00 00 78"))
    answer = part.receive(bytes.fromhex("ff 01 86 00 00 00 00 00 79"))
    assert word(answer[2:]) == pytest.approx(400, abs=20)
