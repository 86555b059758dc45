"""STCC4 on a strict wire: paused self-calibration, air told or its own, the ends."""

from typing import Any

import pytest

from cabinvigil.drivers import stcc4
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CrcError,
    LengthError,
    NotMeasuredError,
    ShortError,
    Transfer,
    WrongPartError,
)
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import play


def _say(code: str, rx_len: int = 0, delay_s: float = 0.001) -> Transfer:
    return Transfer(bytes.fromhex(code), rx_len, delay_s)


def _words(*values: int) -> bytes:
    return b"".join(with_crc(value & 0xFFFF) for value in values)


STOP = (_say("3f86", delay_s=1.2), b"")
GET_PRODUCT = _say("365b", 18)
IS_ONE = (GET_PRODUCT, _words(0x0901, 0x018A, 1, 2, 3, 4))
TESTING = (_say("3fbc"), b"")
START = (_say("218b", delay_s=1.2), b"")
BEGIN = [STOP, IS_ONE, TESTING, START]
READ = _say("ec05", 12)
# 25 °C and 50 % are 6666 and 72b0 (3.4.4, table 11); 4010: paused, none wired to it.
AIR = (500, 0x6666, 0x72B0, 0x4010)
TELL_AIR = (_say("e000666693 72b0dc"), b"")


def _made(**options: Any) -> stcc4.Stcc4:
    part = stcc4.make(options)
    play(part.setup(), BEGIN)
    return part


def _informed() -> stcc4.Stcc4:
    part = _made()
    part.inform("temp_c", 25.0)
    part.inform("rh_pct", 50.0)
    play(part.poll(), [TELL_AIR, (READ, _words(*AIR))])
    return part


def test_the_sheets_own_examples() -> None:
    """500 ppm, 25 °C, 50 %; words for air and pressure (3.4.4, 3.4.5 and table 11)."""
    found = stcc4.decode(_words(*AIR))
    assert found.co2_ppm == 500
    assert found.temp_c == pytest.approx(25.0, abs=0.005)
    assert found.rh_pct == pytest.approx(50.0, abs=0.005)
    assert (found.is_paused, found.has_own_air) == (True, False)
    assert stcc4.air_words(25.0, 50.0) == (0x6666, 0x72B0)
    assert stcc4.pressure_word(1013.0) == 50650


@pytest.mark.parametrize(
    ("status", "is_paused", "has_own_air"),
    [
        (0x0000, False, True),
        (0x0010, False, False),
        (0x4000, True, True),
        (0x0040, True, True),
        (0xBFAF, False, True),
    ],
)
def test_the_status(status: int, is_paused: bool, has_own_air: bool) -> None:
    """Either place of its one bit, since its sheet can be read both ways."""
    found = stcc4.decode(_words(500, 0, 0, status))
    assert (found.is_paused, found.has_own_air) == (is_paused, has_own_air)


@pytest.mark.parametrize(
    ("reply", "error"),
    [
        (_words(*AIR)[:-1], ShortError),
        (_words(*AIR) + b"\0", LengthError),
        (_words(*AIR)[:-1] + b"\0", CrcError),
    ],
)
def test_what_is_no_measurement(reply: bytes, error: type[Exception]) -> None:
    """Broken words become no value."""
    with pytest.raises(error):
        stcc4.decode(reply)


def test_words_keep_to_their_scale() -> None:
    """Its words end at -45 and 130 °C, at -6 and 119 % (table 11)."""
    assert stcc4.air_words(-45.0, -6.0) == stcc4.air_words(-80.0, -20.0) == (0, 0)
    top = (0xFFFF, 0xFFFF)
    assert stcc4.air_words(130.0, 119.0) == stcc4.air_words(200.0, 130.0) == top


def test_setup_refuses_another_part() -> None:
    """By its product number (3.4.16)."""
    for product in ((0x0901, 0x018B), (0x0902, 0x018A)):
        script = [STOP, (GET_PRODUCT, _words(*product, 1, 2, 3, 4))]
        with pytest.raises(WrongPartError, match=f"number is {product[0]:04x}"):
            play(stcc4.make({}).setup(), script)


def test_a_part_that_is_told_the_air() -> None:
    """Doubtful until it has been told; then CO2 alone, since the rest is an echo."""
    part = _made()
    (first,) = play(part.poll(), [(READ, _words(*AIR))])
    assert (first.value, first.quality) == (500.0, "outside-range")
    assert "has not been given the temperature and the humidity" in first.reason
    part.inform("temp_c", 25.0)
    play(part.poll(), [(READ, _words(*AIR))])
    part.inform("rh_pct", 50.0)
    (second,) = play(part.poll(), [TELL_AIR, (READ, _words(*AIR))])
    assert second.quality == "outside-range"  # measured before it was told
    (third,) = play(part.poll(), [(READ, _words(*AIR))])
    assert (third.quantity, third.value, third.quality) == ("co2_ppm", 500.0, "good")


def test_air_that_changes_is_told_and_air_that_is_lost_is_doubt() -> None:
    """26 °C are 67dc; after a new start all is told again."""
    part = _informed()
    part.inform("temp_c", 26.0)
    changed = (_say("e000" + _words(*stcc4.air_words(26.0, 50.0)).hex()), b"")
    play(part.poll(), [changed, (READ, _words(*AIR))])
    play(part.setup(), BEGIN)
    (doubted,) = play(part.poll(), [changed, (READ, _words(*AIR))])
    assert doubted.quality == "outside-range"
    part.inform("rh_pct", float("nan"))
    play(part.poll(), [(READ, _words(*AIR))])
    (doubted,) = play(part.poll(), [(READ, _words(*AIR))])
    assert doubted.quality == "outside-range"


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "quality"),
    [
        (10.0, 50.0, "good"),
        (9.9, 50.0, "outside-range"),
        (40.1, 50.0, "outside-range"),
        (25.0, 19.9, "outside-range"),
        (25.0, 80.1, "outside-range"),
        (25.0, 80.0, "good"),
    ],
)
def test_where_it_is_not_made_for(temp_c: float, rh_pct: float, quality: str) -> None:
    """10 to 40 °C and 20 to 80 % (table 2): a narrow place for a cabin."""
    part = _made()
    part.inform("temp_c", temp_c)
    part.inform("rh_pct", rh_pct)
    tell = (_say("e000" + _words(*stcc4.air_words(temp_c, rh_pct)).hex()), b"")
    play(part.poll(), [tell, (READ, _words(*AIR))])
    (found,) = play(part.poll(), [(READ, _words(*AIR))])
    assert found.quality == quality
    own = stcc4.decode(_words(500, *stcc4.air_words(temp_c, rh_pct), 0x4000))
    nearly = "good" if quality == "good" else "outside-range"
    if temp_c != 10.0 and rh_pct != 80.0:  # its words are not that fine
        assert {s.quality for s in stcc4.own_samples(own)} == {nearly}


def test_a_part_with_its_own_air() -> None:
    """It gives what its SHT4x measures, and is told no air but the pressure."""
    part = _made(air="own")
    for quantity, value in (("temp_c", 20.0), ("rh_pct", 40.0)):
        part.inform(quantity, value)
    found = play(part.poll(), [(READ, _words(500, 0x6666, 0x72B0, 0x4000))])
    assert [(s.quantity, round(s.value, 1), s.quality) for s in found] == [
        ("co2_ppm", 500.0, "good"),
        ("temp_c", 25.0, "good"),
        ("rh_pct", 50.0, "good"),
    ]
    with pytest.raises(NotMeasuredError, match="no SHT4x is wired to it"):
        play(part.poll(), [(READ, _words(*AIR))])


def test_self_calibration_that_is_on_again_gives_nothing() -> None:
    """A loss of power ends the testing mode: the part is then set up anew."""
    for options in ({}, {"air": "own"}):
        part = _made(**options)
        with pytest.raises(NotMeasuredError, match="its self-calibration is on"):
            play(part.poll(), [(READ, _words(500, 0x6666, 0x72B0, 0x0000))])


def test_pressure_is_told_in_steps_of_two_pascals() -> None:
    """1013 hPa are c5da, with the sheet's own CRC 83 (3.4.5)."""
    part = _made()
    part.inform("pressure_hpa", 1013.2)
    tell = (_say("e016c5da83"), b"")
    play(part.poll(), [tell, (READ, _words(*AIR))])
    play(part.poll(), [(READ, _words(*AIR))])
    play(part.setup(), BEGIN)
    play(part.poll(), [tell, (READ, _words(*AIR))])
    for hpa, is_told in ((400.0, True), (1100.0, True), (399.9, False), (1101, False)):
        other = _made()
        other.inform("pressure_hpa", hpa)
        word = _words(stcc4.pressure_word(round(hpa))).hex()
        told = [(_say("e016" + word), b"")] if is_told else []
        play(other.poll(), [*told, (READ, _words(*AIR))])


@pytest.mark.parametrize(
    ("ppm", "quality"),
    [
        (390, "outside-range"),
        (389, "good"),
        (391, "good"),
        (31999, "good"),
        (32000, "at-least"),
    ],
)
def test_first_and_last_values(ppm: int, quality: str) -> None:
    """390 is what a new part shows before it has measured (1.1.4); 32 000 its end."""
    part = _informed()
    (found,) = play(part.poll(), [(READ, _words(ppm, *AIR[1:]))])
    assert (found.value, found.quality) == (ppm, quality)
    own = stcc4.decode(_words(ppm, 0x6666, 0x72B0, 0x4000))
    assert stcc4.own_samples(own)[0].quality == quality


def test_what_no_air_has() -> None:
    """0 ppm is refused here, and less than nothing by its sign."""
    with pytest.raises(NotMeasuredError, match="0 ppm"):
        play(_made().poll(), [(READ, _words(0, *AIR[1:]))])
    assert stcc4.decode(_words(-50, *AIR[1:])).co2_ppm == -50
    assert stcc4.decode(_words(0x7FFF, *AIR[1:])).co2_ppm == 0x7FFF


def test_errors_never_repeat_a_value() -> None:
    """After a good value, a broken answer gives an error and nothing else."""
    part = _informed()
    with pytest.raises(CrcError):
        play(part.poll(), [(READ, _words(*AIR)[:-1] + b"\0")])


def test_options() -> None:
    """What is only told to it is not its own to give."""
    assert stcc4.leaves_out({}) == {"temp_c", "rh_pct"}
    assert stcc4.leaves_out({"air": "told"}) == {"temp_c", "rh_pct"}
    assert stcc4.leaves_out({"air": "own"}) == frozenset()
    with pytest.raises(ValueError, match="air: 'thin' is none of told, own"):
        stcc4.make({"air": "thin"})


RECALIBRATE = _say("362f01e0b4", 3, 0.09)


def test_forced_recalibration() -> None:
    """An answer of 32 668 makes -100 ppm (table 11)."""
    script = [STOP, (RECALIBRATE, _words(32668)), (_say("218b"), b"")]
    assert play(stcc4.recalibrate(480), script) == -100
    for answer, error in (("ffffac", CalibrationError), ("ffff00", CrcError)):
        broken = (RECALIBRATE, bytes.fromhex(answer))
        with pytest.raises(error):
            play(stcc4.recalibrate(480), [STOP, broken, script[2]])
    for target in (399, 2001):
        with pytest.raises(CalibrationError, match="outside 400 to 2000 ppm"):
            play(stcc4.recalibrate(target), [])


def test_it_is_told_by_its_number_or_by_a_reading() -> None:
    """It tells its number while idle alone, and a reading while it measures alone."""
    other = (GET_PRODUCT, _words(0x0901, 0x018B, 1, 2, 3, 4))
    refused = (GET_PRODUCT, b"")
    assert play(stcc4.identify(), [IS_ONE])
    assert not play(stcc4.identify(), [other])
    assert play(stcc4.identify(), [refused, (READ, _words(*AIR))])
    assert not play(stcc4.identify(), [refused, (READ, b"\xff" * 12)])
    assert not play(stcc4.identify(), [refused, (READ, b"")])
