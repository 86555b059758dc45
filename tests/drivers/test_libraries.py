"""Independent libraries decode the very bytes that our codecs decode, and must agree.

The libraries run unchanged: only the bus under them is ours.  Libraries that are not
in the `test` extra are asked where they are installed, and the report says where not.
"""

import time
import warnings
from collections.abc import Mapping
from typing import Any

import adafruit_scd4x
import adafruit_sht4x
import bme280 as rpi_bme280
import pytest
from adafruit_bme280.basic import Adafruit_BME280
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from sensirion_i2c_driver import CrcCalculator
from sensirion_i2c_driver.errors import I2cChecksumError
from sensirion_i2c_scd4x import commands as sensirion_scd4x
from sensirion_i2c_scd4x import result_types as scd4x_types
from sensirion_i2c_sht4x import commands as sensirion_sht4x
from sensirion_i2c_sht4x import result_types as sht4x_types

from cabinvigil.drivers import (
    bme280,
    ds18b20,
    ina226,
    pm_frame,
    scd4x,
    sgp41,
    sht4x,
    tmp117,
)
from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit.crc import crc8_wire, sum16
from cabinvigil.drivers.kit.steps import CrcError
from cabinvigil.drivers.kit.words import with_crc
from tests.drivers.vectors import DATA

WORD = st.integers(0, 0xFFFF)
MORE = settings(max_examples=40, deadline=None)
"""Enough to meet every branch of a formula; the libraries are slow."""


class Bus:
    """The I2C bus that the Adafruit libraries ask for: replies by what was written."""

    def __init__(self, replies: Mapping[bytes, bytes]) -> None:
        self._replies = replies
        self._reply = b""

    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None:
        pass

    def writeto(self, _address: int, data: bytes, start: int = 0, end: int = 0) -> None:
        self._reply = self._replies.get(bytes(data[start : end or None]), b"")

    def readfrom_into(
        self, _address: int, data: bytearray, start: int = 0, end: int = 0
    ) -> None:
        data[start : end or len(data)] = self._reply


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """The libraries wait for a part that is not there."""
    monkeypatch.setattr(time, "sleep", lambda _s: None)


def _strip(reply: bytes) -> bytes:
    """Let Sensirion's own calculator check and take off the checksums."""
    check = CrcCalculator(8, 0x31, 0xFF, 0x00)
    for at in range(0, len(reply), 3):
        if check(reply[at : at + 2]) != reply[at + 2]:
            raise I2cChecksumError(check(reply[at : at + 2]), reply[at + 2], reply)
    return b"".join(reply[at : at + 2] for at in range(0, len(reply), 3))


# --- SCD4x and SHT4x ------------------------------------------------------------------


@MORE
@given(WORD, WORD, WORD)
def test_scd4x_adafruit(co2: int, temp: int, humidity: int) -> None:
    """adafruit-circuitpython-scd4x reads the same CO2, temperature and humidity."""
    reply = with_crc(co2) + with_crc(temp) + with_crc(humidity)
    bus = Bus({b"\xe4\xb8": with_crc(0x8006), b"\xec\x05": reply})
    theirs, ours = adafruit_scd4x.SCD4X(bus), scd4x.decode(reply)
    assert ours.co2_ppm == theirs.CO2
    assert ours.temp_c == pytest.approx(theirs.temperature)
    assert ours.rh_pct == pytest.approx(theirs.relative_humidity)


@MORE
@given(WORD)
def test_scd4x_ready_adafruit(status: int) -> None:
    """adafruit-circuitpython-scd4x finds the same words ready."""
    theirs = adafruit_scd4x.SCD4X(Bus({b"\xe4\xb8": with_crc(status)}))
    assert scd4x.decode_ready(with_crc(status)) == theirs.data_ready


@MORE
@given(WORD, WORD, WORD)
def test_scd4x_maker(co2: int, temp: int, humidity: int) -> None:
    """sensirion-i2c-scd4x, the maker's own, reads the same."""
    reply = with_crc(co2) + with_crc(temp) + with_crc(humidity)
    raw = sensirion_scd4x.ReadMeasurementRaw.rx.unpack(_strip(reply))
    ours = scd4x.decode(reply)
    assert ours.co2_ppm == scd4x_types.SignalCo2Concentration(raw[0]).value
    assert ours.temp_c == pytest.approx(scd4x_types.SignalTemperature(raw[1]).value)
    humidity_theirs = scd4x_types.SignalRelativeHumidity(raw[2]).value
    assert ours.rh_pct == pytest.approx(humidity_theirs)


@MORE
@given(WORD, WORD)
def test_sht4x_adafruit(temp: int, humidity: int) -> None:
    """adafruit-circuitpython-sht4x reads the same; it crops humidity, we do not."""
    reply = with_crc(temp) + with_crc(humidity)
    theirs = adafruit_sht4x.SHT4x(Bus({b"\xfd": reply})).measurements
    ours = sht4x.decode(reply)
    assert ours.temp_c == pytest.approx(theirs[0])
    assert min(100.0, max(0.0, ours.rh_pct)) == pytest.approx(theirs[1], abs=1e-9)


@MORE
@given(WORD, WORD)
def test_sht4x_maker(temp: int, humidity: int) -> None:
    """sensirion-i2c-sht4x, the maker's own, reads the same, uncropped."""
    reply = with_crc(temp) + with_crc(humidity)
    raw = sensirion_sht4x.MeasureHighPrecisionTicks.rx.unpack(_strip(reply))
    ours = sht4x.decode(reply)
    assert ours.temp_c == pytest.approx(sht4x_types.SignalTemperature(raw[0]).value)
    assert ours.rh_pct == pytest.approx(sht4x_types.SignalHumidity(raw[1]).value)


@pytest.mark.parametrize("flipped", [0, 2, 4, 8])
def test_all_refuse_a_flipped_bit(flipped: int) -> None:
    """What we refuse, both libraries refuse."""
    reply = bytearray(with_crc(500) + with_crc(26215) + with_crc(24249))
    reply[flipped] ^= 1
    with pytest.raises(CrcError):
        scd4x.decode(bytes(reply))
    with pytest.raises(RuntimeError, match="CRC"):
        _ = adafruit_scd4x.SCD4X(
            Bus({b"\xe4\xb8": with_crc(1), b"\xec\x05": bytes(reply)})
        ).CO2
    with pytest.raises(I2cChecksumError):
        _strip(bytes(reply))


# --- BME280 ---------------------------------------------------------------------------

BLOCK_A = bytes.fromhex("706b436718fc7d8e43d6d00b270b8c00f9ff8c3cf8c67017004b")
BLOCK_B = bytes.fromhex("7201001329031e")
CONSTANTS = bme280.decode_calibration(BLOCK_A, BLOCK_B)
REGISTERS = {
    **{0x88 + at: byte for at, byte in enumerate(BLOCK_A)},
    **{0xE1 + at: byte for at, byte in enumerate(BLOCK_B)},
    0xD0: 0x60,
    0xF3: 0,
}
# Raw values of live air: temperature and pressure 20 bits, humidity 16.
RAW_T, RAW_P = st.integers(380_000, 640_000), st.integers(200_000, 600_000)
RAW_H = st.integers(16_000, 45_000)


def _data(raw_p: int, raw_t: int, raw_h: int) -> bytes:
    twenty = (raw << 4 for raw in (raw_p, raw_t))
    return b"".join(raw.to_bytes(3, "big") for raw in twenty) + raw_h.to_bytes(2, "big")


class SmBus:
    """The two calls of a System Management Bus that RPi.bme280 makes."""

    def read_byte_data(self, _address: int, register: int) -> int:
        return REGISTERS[register]

    def read_word_data(self, _address: int, register: int) -> int:
        return REGISTERS[register] | REGISTERS[register + 1] << 8


class Registers:
    """The register file that adafruit-circuitpython-bme280 asks for."""

    def __init__(self, data: bytes) -> None:
        self._held = REGISTERS | {0xF7 + at: byte for at, byte in enumerate(data)}

    def read_register(self, register: int, length: int) -> bytes:
        return bytes(self._held[register + at] for at in range(length))

    def write_register_byte(self, register: int, value: int) -> None:
        pass


@MORE
@given(RAW_P, RAW_T, RAW_H)
def test_bme280_rpi(raw_p: int, raw_t: int, raw_h: int) -> None:
    """RPi.bme280 computes the same three values in floating point."""
    assume(bme280.SKIPPED_20 not in (raw_p, raw_t) and raw_h != bme280.SKIPPED_16)
    data = _data(raw_p, raw_t, raw_h)
    with warnings.catch_warnings():
        # It stamps its readings with a call that newer Pythons warn of.
        warnings.simplefilter("ignore", DeprecationWarning)
        theirs = rpi_bme280.compensated_readings(
            rpi_bme280.uncompensated_readings(data),
            rpi_bme280.load_calibration_params(SmBus()),
        )
    ours = bme280.decode(data, CONSTANTS)
    assert ours.temp_c == pytest.approx(theirs.temperature)
    assert ours.pressure_hpa == pytest.approx(theirs.pressure)
    assert ours.rh_pct == pytest.approx(theirs.humidity)


@MORE
@given(RAW_P, RAW_T, RAW_H)
def test_bme280_adafruit(raw_p: int, raw_t: int, raw_h: int) -> None:
    """adafruit-circuitpython-bme280 computes the same, from whole 1/5120 °C."""
    assume(bme280.SKIPPED_20 not in (raw_p, raw_t) and raw_h != bme280.SKIPPED_16)
    data = _data(raw_p, raw_t, raw_h)
    theirs, ours = Adafruit_BME280(Registers(data)), bme280.decode(data, CONSTANTS)
    assert ours.temp_c == pytest.approx(theirs.temperature, abs=1 / 5120)
    assert ours.pressure_hpa == pytest.approx(theirs.pressure, abs=0.01)
    assert ours.rh_pct == pytest.approx(theirs.humidity, abs=0.001)


# --- libraries beside the test extra --------------------------------------------------


@pytest.fixture(scope="module")
def pamoja() -> Any:
    """pamoja-sensors is compiled: there is no wheel for every machine."""
    return pytest.importorskip("pamoja.sensors", reason="pamoja-sensors not installed")


def test_scd4x_pamoja(pamoja: Any) -> None:
    """pamoja-sensors reads and spells the SCD4x alike."""
    theirs = pamoja.scd4x
    reply = with_crc(1523) + with_crc(23058) + with_crc(35916)
    ours, found = scd4x.decode(reply), theirs.parse_measurement(reply)
    assert ours.co2_ppm == found.co2_ppm
    assert ours.temp_c == pytest.approx(theirs.celsius(23058), abs=1e-3)
    assert ours.rh_pct == pytest.approx(
        theirs.relative_humidity_percent(35916), abs=1e-3
    )
    assert theirs.word_frame(0x5EB9) == with_crc(0x5EB9)
    assert theirs.temperature_offset_word(5400) == scd4x.temp_offset_word(5.4)
    for code in (scd4x.STOP_PERIODIC, scd4x.DATA_READY, scd4x.SET_PRESSURE):
        assert theirs.allowed_during_measurement(code)
    for code in (scd4x.FORCED_RECALIBRATION, scd4x.SET_SELF_CALIBRATION):
        assert not theirs.allowed_during_measurement(code)


@pytest.mark.parametrize("raw", [0, 1, 0x2570, 0x2800, 0x7080])
def test_ina226_pamoja(pamoja: Any, raw: int) -> None:
    """pamoja-sensors reads bus and shunt of the INA226 alike."""
    word = raw.to_bytes(2, "big")
    assert ina226.decode_bus(word) == pytest.approx(pamoja.ina226.bus_volts(raw))
    shunt = pamoja.ina226.shunt_millivolts(raw)
    assert ina226.decode_shunt(word) == pytest.approx(shunt)


def test_ina226_setting_pamoja(pamoja: Any) -> None:
    """pamoja-sensors reads our setting as sixteen averaged readings without end."""
    config = pamoja.ina226.config_from_register(int.from_bytes(ina226.CONTINUOUS))
    assert pamoja.ina226.averaging_samples(config.averaging) == 16
    assert pamoja.ina226.is_continuous(config.mode)
    assert pamoja.ina226.update_micros(config) / 1e6 < ina226.CONVERT_S


@pytest.mark.parametrize("raw", [0, 16, 3200, -3200, -16, -1])
def test_tmp117_pamoja(pamoja: Any, raw: int) -> None:
    """pamoja-sensors reads temperatures of the TMP117 alike."""
    word = raw.to_bytes(2, "big", signed=True)
    assert tmp117.decode(word) == pytest.approx(pamoja.tmp117.celsius(raw))


def test_tmp117_setting_pamoja(pamoja: Any) -> None:
    """pamoja-sensors reads our setting as a mean of eight each second, and the flag."""
    word = int.from_bytes(tmp117.CONTINUOUS)
    config = pamoja.tmp117.config_from_bits(word)
    assert pamoja.tmp117.conversions(config.averaging) == 8
    assert pamoja.tmp117.cycle_micros(config.cycle, config.averaging) == 1_000_000
    assert pamoja.tmp117.data_ready(word | tmp117.DATA_READY)
    assert not pamoja.tmp117.data_ready(word)


@pytest.mark.parametrize("bits", [9, 10, 11, 12])
@pytest.mark.parametrize("celsius", [-55.0, -10.125, -0.5, 0.0, 25.0625, 125.0])
def test_ds18b20_pamoja(pamoja: Any, celsius: float, bits: int) -> None:
    """pamoja-sensors builds and reads the scratchpad and the kernel's text alike."""
    pad = pamoja.ds18b20.build_scratchpad(celsius, bits, 75, 70)
    theirs = pamoja.ds18b20.parse_scratchpad(pad)
    assert pad[8] == crc8_wire(pad[:8])
    assert ds18b20.decode(pad) == pytest.approx(theirs.celsius)
    text = pamoja.ds18b20.w1_slave_text(pad)
    assert ds18b20.decode_text(text.encode()) == pytest.approx(theirs.celsius)


@pytest.mark.parametrize("full_scale_mv", ads1115.GAIN)
def test_ads1115_pamoja(pamoja: Any, full_scale_mv: int) -> None:
    """pamoja-sensors turns counts into the same volts at every gain."""
    source = ads1115.Input("0-1", full_scale_mv)
    for counts in (-32768, -1, 0, 1440, 32767):
        volts = pamoja.ads1115.to_volts(ads1115.GAIN[full_scale_mv], counts)
        # It counts in whole nanovolts.
        assert source.millivolts(counts) / 1000 == pytest.approx(
            volts, rel=1e-6, abs=1e-9
        )


@pytest.mark.parametrize(
    ("vector", "full_scale_mv"), [("gas_bead", 256), ("amplified_o2", 4096)]
)
def test_cells_of_a_converter_pamoja(
    pamoja: Any, vector: str, full_scale_mv: int
) -> None:
    """pamoja-sensors turns the very bytes of these vectors into the same volts."""
    rows = [one for one in DATA["vector"] if one["part"] == vector]
    assert len(rows) >= 3
    for row in rows:
        counts = ads1115.decode(bytes.fromhex(row["bytes"]))
        volts = pamoja.ads1115.to_volts(ads1115.GAIN[full_scale_mv], counts)
        mv = ads1115.Input("0-1", full_scale_mv).millivolts(counts)
        assert mv == pytest.approx(volts * 1000, rel=1e-6, abs=1e-6)
        if "expect" in row:
            assert volts * 1000 == pytest.approx(row["expect"]["millivolt"])


def test_bme280_pamoja(pamoja: Any) -> None:
    """pamoja-sensors, in the integer formulas, comes to the same to a count."""
    data = _data(415148, 519888, 28400)
    theirs = pamoja.bme280.calibration(BLOCK_A, BLOCK_B).compensate(data)
    ours = bme280.decode(data, CONSTANTS)
    assert ours.temp_c == pytest.approx(theirs.celsius, abs=0.01)
    assert ours.pressure_hpa == pytest.approx(theirs.hectopascals, abs=0.005)
    assert ours.rh_pct == pytest.approx(theirs.relative_humidity_percent, abs=0.01)


def test_bme280_timing_pamoja(pamoja: Any) -> None:
    """pamoja-sensors computes a longest measurement that our wait covers."""
    theirs = pamoja.bme280
    longest_s = theirs.max_measurement_micros(1, 3, 1) / 1e6
    assert longest_s < bme280.MEASURE_S < 2 * longest_s


def test_sgp41_maker() -> None:
    """sensirion-i2c-sgp4x, the maker's own, spells and reads the SGP41 alike."""
    theirs = pytest.importorskip("sensirion_i2c_sgp4x.sgp41.commands")
    words = (sgp41.humidity_word(62.5), sgp41.temperature_word(8.25))
    for ours, make in (
        (sgp41.MEASURE, theirs.Sgp41I2cCmdMeasureRawSignals),
        (sgp41.CONDITION, theirs.Sgp41I2cCmdExecuteConditioning),
    ):
        assert bytes(make(*words).tx_data) == sgp41.command(ours, *words)
    reply = with_crc(30000) + with_crc(15000)
    found = theirs.Sgp41I2cCmdMeasureRawSignals(*words).interpret_response(reply)
    assert [signal.ticks for signal in found] == [30000, 15000]
    assert sgp41.decode(reply) == sgp41.Sgp41Reading(30000, 15000)


@MORE
@given(st.lists(WORD, min_size=13, max_size=13))
def test_pm_frame_library(fields: list[int]) -> None:
    """pms7003 reads the same twelve fields out of a frame."""
    pms = pytest.importorskip("pms7003.pms7003")
    body = pm_frame.START + b"\x00\x1c" + b"".join(f.to_bytes(2, "big") for f in fields)
    frame = body + sum16(body).to_bytes(2, "big")
    sensor = object.__new__(pms.Pms7003Sensor)
    sensor._get_frame = lambda: list(frame[2:])
    found = list(sensor.read(ordered=True).values())
    ours = pm_frame.decode(frame)
    assert found == [getattr(ours, name) for name in ours.__slots__]
