"""Independent libraries decode the very bytes that our codecs of CO2 decode.

As in `test_libraries`: they run unchanged, and only the bus under them is ours.  The
maker's own are asked where they are installed: their needs clash with another's.
"""

import struct
import time

import adafruit_scd30
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import scd30
from cabinvigil.drivers.kit.words import command, with_crc
from tests.drivers.test_libraries import MORE, Bus, _strip

NUMBER = st.floats(-40.0, 40000.0, width=32)


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """The libraries wait for a part that is not there."""
    monkeypatch.setattr(time, "sleep", lambda _s: None)


def _spelled(packed: bytes) -> bytes:
    words = struct.unpack(f">{len(packed) // 2}H", packed)
    return b"".join(with_crc(word) for word in words)


# --- SCD30 ----------------------------------------------------------------------------


@MORE
@given(NUMBER, NUMBER, NUMBER)
def test_scd30_adafruit(co2: float, temp: float, humidity: float) -> None:
    """adafruit-circuitpython-scd30 reads the same CO2, temperature and humidity."""
    reply = _spelled(struct.pack(">3f", co2, temp, humidity))
    bus = Bus({b"\x02\x02": with_crc(1), b"\x03\x00": reply})
    theirs, ours = adafruit_scd30.SCD30(bus), scd30.decode(reply)
    assert ours.co2_ppm == theirs.CO2
    assert ours.temp_c == theirs.temperature
    assert ours.rh_pct == theirs.relative_humidity


@MORE
@given(NUMBER, NUMBER, NUMBER)
def test_scd30_maker(co2: float, temp: float, humidity: float) -> None:
    """sensirion-i2c-scd30, the maker's own, reads the same."""
    theirs = pytest.importorskip("sensirion_i2c_scd30.commands")
    reply = _spelled(struct.pack(">3f", co2, temp, humidity))
    ours = scd30.decode(reply)
    found = theirs.ReadMeasurementData.rx.unpack(_strip(reply))
    assert found == (ours.co2_ppm, ours.temp_c, ours.rh_pct)


def test_scd30_commands_maker() -> None:
    """It also spells the commands alike."""
    theirs = pytest.importorskip("sensirion_i2c_scd30.commands")
    for ours, made in (
        (command(scd30.START, 940), theirs.StartPeriodicMeasurement(940)),
        (command(scd30.INTERVAL, 2), theirs.SetMeasurementInterval(2)),
        (command(scd30.SELF_CALIBRATION, 0), theirs.ActivateAutoCalibration(0)),
        (command(scd30.RECALIBRATION, 425), theirs.ForceRecalibration(425)),
        (command(scd30.TEMP_OFFSET, 540), theirs.SetTemperatureOffset(540)),
        (command(scd30.ALTITUDE, 640), theirs.SetAltitudeCompensation(640)),
        (command(scd30.READ), theirs.ReadMeasurementData()),
        (command(scd30.DATA_READY), theirs.GetDataReady()),
    ):
        plain = ours[:2] + (_strip(ours[2:]) if ours[2:] else b"")
        assert made.pack() == plain
