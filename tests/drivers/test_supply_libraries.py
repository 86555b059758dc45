"""Further libraries that decode the very bytes that our codecs decode, and must agree.

As in test_libraries.py: they run unchanged, only the bus under them is ours; the ones
that are not installed are said.
"""

import struct
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import bmp280, bmp390
from cabinvigil.drivers.kit import barometer
from tests.drivers.test_bmp280 import BLOCK as BLOCK_280
from tests.drivers.test_bmp280 import TRIM as TRIM_280
from tests.drivers.test_bmp390 import CONSTANTS
from tests.drivers.test_libraries import MORE


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
