"""Independent libraries decode the very bytes that our codecs of CO2 decode.

As in `test_libraries`: they run unchanged, and only the bus under them is ours.  The
maker's own are asked where they are installed: their needs clash with another's.
"""

import struct
import time

import adafruit_scd30
import adafruit_sen6x
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import scd30, sen6x
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


# --- SEN6x ----------------------------------------------------------------------------

WORD = st.integers(0, 0xFFFF)
POSITIVE = st.integers(0, 0x7FFF)
"""The second library reads signed words as unsigned ones."""
NAMES = {
    "pm2_5_ugm3": "pm2_5",
    "pm10_ugm3": "pm10",
    "rh_pct": "humidity",
    "temp_c": "temperature",
    "voc_index": "voc_index",
    "nox_index": "nox_index",
    "co2_ppm": "co2",
}


@pytest.mark.parametrize("model", ["SEN66", "SEN63C"])
@MORE
@given(st.data())
def test_sen6x_adafruit(model: str, data: st.DataObject) -> None:
    """adafruit-circuitpython-sen6x reads the same of the members with CO2."""
    member = sen6x.MEMBERS[model]
    kinds = [WORD] * 4 + [POSITIVE] * (len(member.more) + 2)
    drawn = [data.draw(kind) for kind in kinds]
    reply = b"".join(with_crc(word) for word in drawn)
    bus = Bus({command(member.read): reply})
    theirs = getattr(adafruit_sen6x, model)(bus)
    theirs._measurement_started = True
    found = theirs.all_measurements()
    ours = sen6x.decode(reply, member)
    for name, key in NAMES.items():
        if name in ours:
            assert ours[name] == pytest.approx(found[key])
        elif key in found and found[key] is not None:
            # It takes ffff alone for unknown, where the sheet has 7fff.
            assert found[key] * sen6x.SCALE.get(name, 10.0) == 0x7FFF


@pytest.mark.parametrize("model", ["SEN63C", "SEN65", "SEN66", "SEN68"])
@MORE
@given(st.data())
def test_sen6x_maker(model: str, data: st.DataObject) -> None:
    """The maker's own, one for each member, read the same words as the same values."""
    home = f"sensirion_i2c_{model.lower()}"
    theirs = pytest.importorskip(f"{home}.commands")
    types = pytest.importorskip(f"{home}.result_types")
    member = sen6x.MEMBERS[model]
    drawn = data.draw(st.lists(WORD, min_size=6, max_size=6))
    drawn += [data.draw(WORD) for _ in member.more]
    reply = b"".join(with_crc(word) for word in drawn)
    raw = theirs.ReadMeasuredValuesAsIntegers.rx.unpack(_strip(reply))
    ours = sen6x.decode(reply, member)
    mass, index = (
        types.SignalDividedBy10Uint16,
        getattr(types, "SignalDividedBy10Int16", None),
    )
    signals = [mass] * 4 + [types.SignalHumidity, types.SignalTemperature]
    signals += [index if name in sen6x.GAS else None for name in member.more]
    names = (*sen6x.ORDER, *member.more)
    for name, count, signal in zip(names, raw, signals, strict=True):
        if name in ours:
            assert ours[name] == (signal(count).value if signal else count)
        else:
            assert not name or count in (0xFFFF, 0x7FFF)


def test_sen6x_commands_maker() -> None:
    """They also spell the commands alike, and list the same types."""
    theirs = pytest.importorskip("sensirion_i2c_sen66.commands")
    for ours, made in (
        (command(sen6x.START), theirs.StartContinuousMeasurement()),
        (command(sen6x.STOP), theirs.StopMeasurement()),
        (command(sen6x.DATA_READY), theirs.GetDataReady()),
        (command(sen6x.PRODUCT_TYPE), theirs.GetProductType()),
        (command(sen6x.READ_AND_CLEAR_STATUS), theirs.ReadAndClearDeviceStatus()),
        (
            command(sen6x.SELF_CALIBRATION, 0),
            theirs.SetCo2SensorAutomaticSelfCalibration(0),
        ),
        (command(sen6x.PRESSURE, 940), theirs.SetAmbientPressure(940)),
        (command(sen6x.ALTITUDE, 640), theirs.SetSensorAltitude(640)),
        (command(sen6x.RECALIBRATION, 425), theirs.PerformForcedCo2Recalibration(425)),
    ):
        plain = ours[:2] + (_strip(ours[2:]) if ours[2:] else b"")
        assert made.pack() == plain
    flags = theirs.DeviceStatus(0)
    for name, bit in sen6x.BITS.items():
        key = {"humidity": "rht", "dust": "pm", "co2": "co2_2", "co2_of_63": "co2_1"}
        field = f"{key.get(name, name)}_error"
        assert getattr(theirs.DeviceStatus(1 << bit), field)
        assert not getattr(flags, field)
    assert theirs.DeviceStatus(1 << sen6x.SLOW_FAN_BIT).fan_speed_warning
