"""Independent libraries decode the very bytes that our codecs of CO2 decode.

As in `test_libraries`: they run unchanged, and only the bus under them is ours.  The
maker's own are asked where they are installed: their needs clash with another's.
"""

import struct
import time
from collections.abc import Mapping

import adafruit_scd30
import adafruit_sen6x
import adafruit_stcc4
import minimalmodbus
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import modbus_co2, scd30, sen6x, stcc4
from cabinvigil.drivers.kit import modbus
from cabinvigil.drivers.kit.crc import crc16_modbus
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


# --- STCC4 ----------------------------------------------------------------------------


class OneGoBus(Bus):
    """Writes and reads in one go, as that library asks for."""

    def writeto_then_readfrom(
        self,
        address: int,
        out_buffer: bytes,
        in_buffer: bytearray,
        *,
        out_start: int = 0,
        out_end: int = 0,
        in_start: int = 0,
        in_end: int = 0,
    ) -> None:
        self.writeto(address, out_buffer, out_start, out_end or len(out_buffer))
        self.readfrom_into(address, in_buffer, in_start, in_end or len(in_buffer))


def _stcc4(replies: Mapping[bytes, bytes]) -> adafruit_stcc4.STCC4:
    """Make the library's part on a bus with these replies."""
    number = with_crc(stcc4.IS_STCC4[0]) + with_crc(stcc4.IS_STCC4[1])
    return adafruit_stcc4.STCC4(OneGoBus({b"\x36\x5b": number, **replies}))


@MORE
@given(POSITIVE, WORD, WORD, WORD)
def test_stcc4_adafruit(ppm: int, temp: int, humidity: int, status: int) -> None:
    """adafruit-circuitpython-stcc4 reads the same; it takes CO2 as unsigned."""
    reply = b"".join(with_crc(one) for one in (ppm, temp, humidity, status))
    theirs = _stcc4({b"\xec\x05": reply})
    ours = stcc4.decode(reply)
    assert ours.co2_ppm == theirs.CO2
    assert ours.temp_c == pytest.approx(theirs.temperature)
    assert ours.rh_pct == pytest.approx(theirs.relative_humidity)
    lacks = bool(status & adafruit_stcc4.STATUS_SHT_NOT_CONNECTED)
    assert ours.has_own_air is not lacks
    if status & adafruit_stcc4.STATUS_TESTING_MODE:
        assert ours.is_paused


@MORE
@given(WORD, WORD, WORD, WORD)
def test_stcc4_maker(ppm: int, temp: int, humidity: int, status: int) -> None:
    """sensirion-i2c-stcc4, the maker's own, reads the same, sign included."""
    theirs = pytest.importorskip("sensirion_i2c_stcc4.commands")
    types = pytest.importorskip("sensirion_i2c_stcc4.result_types")
    reply = b"".join(with_crc(one) for one in (ppm, temp, humidity, status))
    raw = theirs.ReadMeasurementRaw.rx.unpack(_strip(reply))
    ours = stcc4.decode(reply)
    assert ours.co2_ppm == raw[0]
    assert ours.temp_c == pytest.approx(types.SignalTemperature(raw[1]).value)
    assert ours.rh_pct == pytest.approx(types.SignalRelativeHumidity(raw[2]).value)


def test_stcc4_commands_maker() -> None:
    """It also spells the commands alike."""
    theirs = pytest.importorskip("sensirion_i2c_stcc4.commands")
    air = stcc4.air_words(25.0, 50.0)
    word = stcc4.pressure_word(1013.0)
    for ours, made in (
        (command(stcc4.START), theirs.StartContinuousMeasurement()),
        (command(stcc4.STOP), theirs.StopContinuousMeasurement()),
        (command(stcc4.READ), theirs.ReadMeasurementRaw()),
        (command(stcc4.TESTING_MODE), theirs.EnableTestingMode()),
        (command(stcc4.PRODUCT_ID), theirs.GetProductId()),
        (command(stcc4.SET_AIR, *air), theirs.SetRhtCompensation(*air)),
        (command(stcc4.SET_PRESSURE, word), theirs.SetPressureCompensationRaw(word)),
        (command(stcc4.RECALIBRATION, 425), theirs.PerformForcedRecalibration(425)),
    ):
        plain = ours[:2] + (_strip(ours[2:]) if ours[2:] else b"")
        assert made.pack() == plain


# --- Modbus ---------------------------------------------------------------------------


@MORE
@given(st.lists(WORD, min_size=1, max_size=8), st.sampled_from([3, 4]))
def test_modbus_answers_minimalmodbus(registers: list[int], function: int) -> None:
    """minimalmodbus takes the same registers out of the same bytes."""
    data = b"".join(word.to_bytes(2, "big") for word in registers)
    body = bytes([0xFE, function, len(data)]) + data
    frame = body + minimalmodbus._calculate_crc(body)
    ours = modbus.decode(frame)
    payload = minimalmodbus._extract_payload(frame, 0xFE, "rtu", function)
    theirs = minimalmodbus._bytes_to_valuelist(payload[1:], len(registers))
    assert list(ours.words) == theirs == registers


@MORE
@given(st.integers(1, 247), st.sampled_from([3, 4, 6]), WORD, WORD)
def test_modbus_questions_minimalmodbus(
    unit: int, function: int, register: int, word: int
) -> None:
    """It also spells the questions alike, checksum included."""
    payload = register.to_bytes(2, "big") + word.to_bytes(2, "big")
    theirs = minimalmodbus._embed_payload(unit, "rtu", function, payload)
    assert modbus.spell(unit, function, register, word) == theirs


@MORE
@given(st.integers(1, 9999))
def test_modbus_co2_senseair(ppm: int) -> None:
    """senseair-s8 reads the same CO2 out of the answer for that register alone."""
    theirs = pytest.importorskip("senseair_s8.senseair_s8")
    body = b"\xfe\x04\x02" + ppm.to_bytes(2, "big")
    frame = body + crc16_modbus(body)

    class Line:
        def flushInput(self) -> None:  # noqa: N802  # its name
            pass

        def write(self, data: bytes) -> None:
            assert data == modbus.spell(0xFE, modbus.READ_INPUT, 3, 1)

        def read(self, size: int) -> bytes:
            return frame[:size]

    one = object.__new__(theirs.SenseairS8)
    one.ser = Line()
    assert modbus.decode(frame).words == (one.co2(),)
    whole = b"\xfe\x04\x08" + bytes(6) + ppm.to_bytes(2, "big")
    (sample,) = modbus_co2.make({}).feed(whole + crc16_modbus(whole))
    assert sample.value == ppm
