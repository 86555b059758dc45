"""Further libraries that decode the very bytes that our codecs decode, and must agree.

As in test_libraries.py: they run unchanged, only the bus under them is ours; the ones
that are not installed are said.
"""

import struct
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import (
    bmp280,
    bmp390,
    ina219,
    ina228,
    max17048,
    pmsa003i,
    sht3x,
)
from cabinvigil.drivers.kit import barometer, dust_frame
from cabinvigil.drivers.kit.crc import sum16
from cabinvigil.drivers.kit.supply_monitor import INA219_SETTINGS
from cabinvigil.drivers.kit.words import with_crc
from tests.drivers.test_bmp280 import BLOCK as BLOCK_280
from tests.drivers.test_bmp280 import TRIM as TRIM_280
from tests.drivers.test_bmp390 import CONSTANTS
from tests.drivers.test_libraries import MORE, WORD, Bus


class Words(Bus):
    """The same, for libraries that write and read in one call."""

    def writeto_then_readfrom(
        self, address: int, out: bytes, into: bytearray, **ends: int
    ) -> None:
        start, end = ends.get("out_start", 0), ends.get("out_end") or len(out)
        self.writeto(address, bytes(out[start:end]))
        begin = ends.get("in_start", 0)
        into[begin : ends.get("in_end") or len(into)] = self._reply


@pytest.fixture(scope="module")
def pamoja() -> Any:
    """pamoja-sensors is compiled: there is no wheel for every machine."""
    return pytest.importorskip("pamoja.sensors", reason="pamoja-sensors not installed")


# --- BMP280 and BMP390 ----------------------------------------------------------------


@pytest.mark.parametrize("data", ["655ac07eed00", "7bc2006a4c00", "4f58808c1280"])
def test_bmp280_pamoja(pamoja: Any, data: str) -> None:
    """pamoja-sensors, in the integer formulas, comes to the same to a count."""
    raw = bytes.fromhex(data)
    theirs = pamoja.bmp280.calibration(BLOCK_280).compensate(raw)
    ours = bmp280.decode(bytes.fromhex(data), TRIM_280)
    assert ours.temp_c == pytest.approx(theirs.celsius, abs=0.01)
    assert ours.pressure_hpa == pytest.approx(theirs.hectopascals, abs=0.005)


def test_bmp280_registers_pamoja(pamoja: Any) -> None:
    """pamoja-sensors has the same registers, identity and setting."""
    theirs = pamoja.bmp280
    assert theirs.REGISTER_CALIBRATION == barometer.CALIBRATION
    assert theirs.REGISTER_CTRL_MEAS == barometer.CTRL_MEAS
    assert (theirs.REGISTER_STATUS, theirs.RESET_WORD) == (0xF3, barometer.RESET_WORD)
    assert barometer.ANSWERS[theirs.REGISTER_CHIP_ID][bytes([theirs.CHIP_ID])] == (
        "BMP280",
        "bmp280",
    )
    assert theirs.SKIPPED_OUTPUT == barometer.SKIPPED_20
    setting = theirs.ctrl_meas_from_bits(barometer.FORCED)
    assert theirs.oversampling_factor(setting.pressure) == 4
    assert theirs.oversampling_factor(setting.temperature) == 1
    assert theirs.measuring(barometer.MEASURING)


@MORE
@given(st.binary(min_size=6, max_size=6), st.lists(st.integers(-30, 30), min_size=14))
def test_bmp390_adafruit(data: bytes, nudges: list[int]) -> None:
    """adafruit-circuitpython-bmp3xx computes the same from any data and constants."""
    library = pytest.importorskip("adafruit_bmp3xx")
    moved = [one + nudge for one, nudge in zip(CONSTANTS, nudges, strict=False)]
    block = struct.pack("<HHbhhbbHHbbhbb", *moved)

    class Part(library.BMP3XX):  # type: ignore[misc, name-defined]
        def __init__(self) -> None:
            self._wait_time = 0.0
            self._read_coefficients()

        def _read_register(self, register: int, length: int) -> bytes:
            held = {0x31: block, 0x03: b"\x70", 0x04: data}
            return held[register][:length]

        def _write_register_byte(self, register: int, value: int) -> None:
            assert (register, value) == (bmp390.POWER, bmp390.FORCED)

    pascal, celsius = Part()._read()
    if data == bytes.fromhex("000080000080"):
        return
    ours = bmp390.decode(data, bmp390.decode_constants(block))
    assert ours.temp_c == pytest.approx(celsius)
    assert ours.pressure_hpa == pytest.approx(pascal / 100)


# --- SHT3x ----------------------------------------------------------------------------


@MORE
@given(WORD, WORD)
def test_sht3x_pamoja(temp: int, humidity: int) -> None:
    """pamoja-sensors reads temperature and humidity alike."""
    theirs = pytest.importorskip("pamoja.sensors").sht3x
    reply = with_crc(temp) + with_crc(humidity)
    found, ours = theirs.parse_measurement(reply), sht3x.decode(reply)
    assert ours.temp_c == pytest.approx(found.celsius, abs=0.001)
    assert ours.rh_pct == pytest.approx(found.relative_humidity, abs=0.001)


def test_sht3x_commands_pamoja(pamoja: Any) -> None:
    """pamoja-sensors has the same commands, times and meaning of the status."""
    theirs = pamoja.sht3x
    assert theirs.COMMAND_SINGLE_SHOT_HIGH == sht3x.MEASURE_HIGH
    assert theirs.COMMAND_BREAK == sht3x.STOP
    assert theirs.COMMAND_SOFT_RESET == sht3x.SOFT_RESET
    assert theirs.COMMAND_READ_STATUS == sht3x.STATUS
    high = pamoja.Sht3xRepeatability.HIGH
    longest_s = theirs.max_measurement_micros(high) / 1e6
    assert longest_s < sht3x.MEASURE_S < 2 * longest_s
    assert theirs.status_from_bits(sht3x.HEATER_ON).heater_on
    assert theirs.STATUS_DEFAULT & (sht3x.NEVER_SET | sht3x.HEATER_ON) == 0
    assert (sht3x.PART.address, 0x45) == (theirs.ADDRESS_A, theirs.ADDRESS_B)


@MORE
@given(WORD, WORD)
def test_sht3x_adafruit(temp: int, humidity: int) -> None:
    """adafruit-circuitpython-sht31d reads the same."""
    library = pytest.importorskip("adafruit_sht31d")
    reply = with_crc(temp) + with_crc(humidity)
    device = library.SHT31D(Bus({b"\x24\x00": reply}))
    ours = sht3x.decode(reply)
    assert ours.temp_c == pytest.approx(device.temperature)
    assert ours.rh_pct == pytest.approx(device.relative_humidity)


# --- INA219 and INA228 ----------------------------------------------------------------


@pytest.mark.parametrize("bus", ["5d9a", "5d98", "5d9b", "0002", "6272", "cb22"])
def test_ina219_bus_pamoja(pamoja: Any, bus: str) -> None:
    """pamoja-sensors reads the voltage and both flags alike."""
    word = int(bus, 16)
    volts, flags = ina219.decode_bus(bytes.fromhex(bus))
    assert volts == pytest.approx(pamoja.ina219.bus_millivolts(word) / 1000)
    assert bool(flags & ina219.READY) == pamoja.ina219.conversion_ready(word)
    assert bool(flags & ina219.OVERFLOW) == pamoja.ina219.math_overflow(word)


@pytest.mark.parametrize("raw", [-32000, -2000, -1, 0, 1, 2000, 32000])
def test_ina219_shunt_pamoja(pamoja: Any, raw: int) -> None:
    """pamoja-sensors reads the shunt's voltage alike."""
    ours = ina219.decode_shunt(raw.to_bytes(2, "big", signed=True))
    theirs_uv = pamoja.ina219.shunt_microvolts(raw)
    assert ours * ina219.SHUNT_STEP_MV == pytest.approx(theirs_uv / 1000)


def test_ina219_setting_pamoja(pamoja: Any) -> None:
    """pamoja-sensors knows the reset value, and reads our setting as we mean it."""
    theirs = pamoja.ina219
    reset, ours = (int.from_bytes(one, "big") for one in INA219_SETTINGS)
    assert reset == theirs.CONFIG_RESET
    config = theirs.config_from_bits(ours)
    assert theirs.gain_range_millivolts(config.gain) == 320
    assert config.bus_adc == config.shunt_adc == 12  # sixteen readings (SBOS448)
    assert theirs.conversion_micros(config) / 1e6 < ina219.CONVERT_S


@pytest.mark.parametrize("bus", ["5d9a", "0002", "6272", "cb22"])
@pytest.mark.parametrize("shunt", ["07d0", "f830", "ffff", "8300"])
def test_ina219_adafruit(bus: str, shunt: str) -> None:
    """adafruit-circuitpython-ina219 reads both voltages alike."""
    library = pytest.importorskip("adafruit_ina219")

    class Part(library.INA219):  # type: ignore[misc, name-defined]
        raw_shunt_voltage = int.from_bytes(bytes.fromhex(shunt), "big", signed=True)
        raw_bus_voltage = int(bus, 16) >> 3

        def __init__(self) -> None:
            pass

    theirs = Part()
    volts, _ = ina219.decode_bus(bytes.fromhex(bus))
    assert volts == pytest.approx(theirs.bus_voltage)
    ours_mv = ina219.decode_shunt(bytes.fromhex(shunt)) * ina219.SHUNT_STEP_MV
    assert ours_mv / 1000 == pytest.approx(theirs.shunt_voltage)


@MORE
@given(st.integers(0, 435_200), st.integers(-(1 << 19), (1 << 19) - 1))
def test_ina228_adafruit(bus: int, shunt: int) -> None:
    """adafruit-circuitpython-ina228 reads both voltages alike."""
    library = pytest.importorskip("adafruit_ina228")
    words = {
        0x05: (bus << 4).to_bytes(3, "big"),
        0x04: (shunt << 4 & 0xFFFFFF).to_bytes(3, "big"),
    }

    class Part(library.INA228):  # type: ignore[misc, name-defined]
        _adc_range = 0

        def __init__(self) -> None:
            pass

        def _reg24(self, register: int) -> int:
            return int.from_bytes(words[register], "big")

    assert ina228.decode_bus(words[0x05]) == pytest.approx(Part().bus_voltage)
    ours_mv = ina228.decode20(words[0x04], "shunt register") * ina228.SHUNT_STEP_MV
    assert ours_mv / 1000 == pytest.approx(Part().shunt_voltage)


def test_ina228_setting_adafruit() -> None:
    """By its numbers: all in turn without end, 1052 us each, sixteen averaged."""
    library = pytest.importorskip("adafruit_ina228")
    word = int.from_bytes(ina228.CONTINUOUS, "big")
    assert word >> 12 == library.Mode.CONTINUOUS
    each = library.ConversionTime.TIME_1052_US
    assert [word >> at & 7 for at in (3, 6, 9)] == [each] * 3
    assert word & 7 == library.AveragingCount.COUNT_16


# --- MAX17048 -------------------------------------------------------------------------


@MORE
@given(WORD, WORD)
def test_max17048_adafruit(cell: int, charge: int) -> None:
    """adafruit-circuitpython-max1704x reads voltage and charge alike."""
    library = pytest.importorskip("adafruit_max1704x")

    held = {b"\x08": b"\x00\x12", b"\x02": cell.to_bytes(2, "big")}
    held[b"\x04"] = charge.to_bytes(2, "big")
    part = object.__new__(library.MAX17048)
    part.i2c_device = library.i2c_device.I2CDevice(Words(held), 0x36)
    assert part.chip_version >> 4 == max17048.IS_GAUGE
    ours = max17048.decode(cell.to_bytes(2, "big") + charge.to_bytes(2, "big"))
    assert ours.cell_v == pytest.approx(part.cell_voltage)
    assert ours.charge_pct == pytest.approx(part.cell_percent)


# --- PMSA003I -------------------------------------------------------------------------


@MORE
@given(st.lists(WORD, min_size=13, max_size=13))
def test_pmsa003i_adafruit(fields: list[int]) -> None:
    """adafruit-circuitpython-pm25 reads the same twelve fields from the bus."""
    library = pytest.importorskip("adafruit_pm25.i2c")
    body = dust_frame.START + b"\x00\x1c"
    body += b"".join(field.to_bytes(2, "big") for field in fields)
    frame = body + sum16(body).to_bytes(2, "big")
    part = library.PM25_I2C(Bus({b"": frame}), None, pmsa003i.PART.address)
    part.i2c_device.i2c._reply = frame
    found = list(part.read().values())
    ours = dust_frame.decode(frame)
    assert found == [getattr(ours, name) for name in ours.__slots__]
