"""The Modbus CO2 module: one question at a time, self-calibration off before values."""

import math

import pytest

from cabinvigil.drivers import modbus_co2
from cabinvigil.drivers.kit.crc import crc16_modbus
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CrcError,
    NotMeasuredError,
    Sample,
    ShortError,
    WrongPartError,
)

# Questions and answers of the S8's Modbus paper, as public drivers quote them.
ASK_PERIOD = bytes.fromhex("fe03001f0001a1c3")
PERIOD_OFF = bytes.fromhex("fe03020000ac50")
PERIOD_180 = bytes.fromhex("fe030200b4ac27")
SET_OFF = bytes.fromhex("fe06001f0000ac03")
ASK = bytes.fromhex("fe0400000004e5c6")
ANSWER = bytes.fromhex("fe0408000000000000019016e6")


def _answer(ppm: int, status: int = 0) -> bytes:
    body = b"\xfe\x04\x08" + status.to_bytes(2, "big") + bytes(4)
    body += ppm.to_bytes(2, "big")
    return body + crc16_modbus(body)


def _off() -> modbus_co2.ModbusCo2:
    part = modbus_co2.make({})
    assert part.opening() == b""
    assert part.request() == ASK_PERIOD
    assert part.feed(PERIOD_OFF) == []
    assert part.request() == ASK
    return part


def test_values_are_asked_for_once_it_does_not_calibrate_itself() -> None:
    """Nothing is written where it is off already."""
    assert _off().feed(ANSWER) == [Sample("co2_ppm", 400.0)]


def test_it_is_switched_off_and_read_back() -> None:
    """180 hours as delivered; its echo is no value."""
    part = modbus_co2.make({})
    for _ in range(2):
        part.opening()
        assert part.request() == ASK_PERIOD
        assert part.feed(PERIOD_180) == []
        assert part.request() == SET_OFF
        assert part.feed(SET_OFF) == []
        assert part.request() == ASK_PERIOD
        assert part.feed(PERIOD_OFF) == []
        assert part.request() == ASK


def test_a_part_that_goes_on_calibrating_itself_gives_nothing() -> None:
    """It is told, and tried again for ever; no value is asked for."""
    part = modbus_co2.make({})
    part.request()
    part.feed(PERIOD_180)
    for _ in range(3):
        assert part.request() == SET_OFF
        assert part.request() == ASK_PERIOD
        with pytest.raises(CalibrationError, match="stays on though switched off"):
            part.feed(PERIOD_180)


def test_a_question_that_got_lost_is_asked_again() -> None:
    """Until it is known, nothing else is asked."""
    part = modbus_co2.make({})
    assert [part.request() for _ in range(3)] == [ASK_PERIOD] * 3


def test_each_hour_it_is_looked_at_again() -> None:
    """And what is on again by then is switched off as at the start."""
    part = _off()
    assert {part.request() for _ in range(717)} == {ASK}
    assert part.request() == ASK_PERIOD
    assert part.feed(PERIOD_180) == []
    assert part.request() == SET_OFF
    assert part.request() == ASK_PERIOD
    part.feed(PERIOD_OFF)
    assert {part.request() for _ in range(717)} == {ASK}
    assert part.request() == ASK_PERIOD


def test_opening_forgets_half_a_frame_and_begins_anew() -> None:
    """After the port was opened again, the old half frame spoils nothing."""
    part = _off()
    part.feed(ANSWER + ANSWER[:5])
    part.opening()
    assert part.request() == ASK_PERIOD
    assert part.feed(ANSWER) == [Sample("co2_ppm", 400.0)]


def test_pressure_is_corrected() -> None:
    """1.6 % a kPa, by hand: at 939 hPa 400 are 454 ppm."""
    part = _off()
    part.inform("pressure_hpa", 939.0)
    assert part.feed(ANSWER)[0].value == pytest.approx(400 / (1 - 0.016 * 7.425))
    part.inform("pressure_hpa", math.nan)
    assert part.feed(ANSWER)[0].value == 400.0


def test_ends() -> None:
    """At the module's range the truth may be more; the range is the config's."""
    part = _off()
    assert part.feed(_answer(9999))[0].quality == "good"
    assert part.feed(_answer(10000))[0].quality == "at-least"
    narrow = modbus_co2.make({"full_scale_ppm": 2000})
    assert narrow.feed(_answer(2000))[0].quality == "at-least"
    with pytest.raises(NotMeasuredError, match="0 ppm"):
        part.feed(_answer(0))


@pytest.mark.parametrize(
    ("bit", "quality"),
    [(1, "outside-range"), (3, "good"), (5, "at-least"), (7, "good"), (15, "good")],
)
def test_what_its_status_says(bit: int, quality: str) -> None:
    """Its offset is doubt, its range an end; its outputs are nobody's here."""
    assert _off().feed(_answer(700, 1 << bit))[0].quality == quality


@pytest.mark.parametrize(
    ("bit", "what"),
    [(0, "fatal"), (2, "algorithm"), (4, "self-diagnosis"), (6, "memory")],
)
def test_what_it_says_of_its_own_end(bit: int, what: str) -> None:
    """A value beside such a status is none, whatever else it says."""
    with pytest.raises(NotMeasuredError, match=f"says itself that it has an? .*{what}"):
        _off().feed(_answer(700, 1 << bit | 1 << 5))


def test_outside_its_air() -> None:
    """Below 0 °C and above 95 % its maker promises nothing; its own word goes first."""
    for quantity, good, bad in (("temp_c", 0.0, -0.1), ("rh_pct", 95.0, 95.1)):
        part = _off()
        part.inform(quantity, good)
        assert part.feed(ANSWER)[0].quality == "good"
        part.inform(quantity, bad)
        assert part.feed(ANSWER)[0].quality == "outside-range"
        assert part.feed(_answer(700, 1 << 5))[0].quality == "at-least"


def test_another_answer_is_no_value() -> None:
    """Of another length, or a refusal; after either a good one is read."""
    part = _off()
    one = bytes.fromhex("fe04020388adb2")
    with pytest.raises(WrongPartError, match="1 registers came where 4 are asked"):
        part.feed(one)
    body = bytes.fromhex("fe030400000000")
    with pytest.raises(WrongPartError, match="2 registers came where 1 is asked"):
        part.feed(body + crc16_modbus(body))
    with pytest.raises(WrongPartError, match="refuses function 4, for reason 2"):
        part.feed(bytes.fromhex("fe8402f2f1"))
    assert part.feed(ANSWER) == [Sample("co2_ppm", 400.0)]


def test_each_broken_answer_is_told() -> None:
    """One that breaks off is, by the time of the next question; and none twice."""
    part = _off()
    part.feed(ANSWER)
    for _ in range(2):
        assert part.feed(ANSWER[:7]) == []
        part.request()
        with pytest.raises(ShortError, match="broke off after 7 bytes"):
            part.feed(b"")
        with pytest.raises(CrcError):
            part.feed(ANSWER[:-1] + b"\0")
        part.request()
        assert part.feed(b"") == []
    assert part.feed(ANSWER) == [Sample("co2_ppm", 400.0)]


def test_errors_never_repeat_a_value() -> None:
    """After a good frame, a spoilt one gives an error and nothing else."""
    part = _off()
    part.feed(ANSWER)
    with pytest.raises(CrcError):
        part.feed(ANSWER[:-1] + b"\0")
    assert part.feed(b"") == []


def test_what_recalibrates_it() -> None:
    """7c06 into the second holding register (public drivers); sent by `span` alone.

    After twenty minutes in outdoor air, as of its nine-byte sister.
    """
    assert modbus_co2.BACKGROUND_RUN_S == 20 * 60.0
    assert modbus_co2.zero_command() == bytes.fromhex("fe0600017c066cc7")
    assert modbus_co2.PART.question == modbus_co2.question() == ASK
