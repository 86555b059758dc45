"""SCD30 on a strict wire: kept settings written once, self-calibration kept off."""

import struct
from typing import Any

import pytest

from cabinvigil.drivers import scd30
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CrcError,
    LengthError,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    ShortError,
    Transfer,
)
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import play


def _say(code: str, rx_len: int = 0) -> Transfer:
    return Transfer(bytes.fromhex(code), rx_len, 0.010)


def _word(value: int) -> bytes:
    return with_crc(value)


# Frames of the maker's interface description, as ten public drivers quote them.
AIR = bytes.fromhex("43dbcb8c2e8f41d970e7fff54243bf3a1b74")
START_SEA = (_say("0010000081"), b"")
GET_ASC, OFF, ON = _say("5306", 3), _word(0), _word(1)
SET_OFF = (_say("5306000081"), b"")
GET_EVERY = _say("4600", 3)
READY, NOT_READY = (_say("0202", 3), _word(1)), (_say("0202", 3), _word(0))
READ = _say("0300", 18)
WELL = [(GET_ASC, OFF), (GET_EVERY, _word(2))]


def _made(**options: Any) -> scd30.Scd30:
    part = scd30.make(options)
    play(part.setup(), [*WELL, START_SEA])
    return part


def _numbers(*values: float) -> bytes:
    words = struct.unpack(">6H", struct.pack(">3f", *values))
    return b"".join(with_crc(word) for word in words)


def test_the_description_s_own_example() -> None:
    """439 ppm, 27.2 °C and 48.8 %."""
    found = scd30.decode(AIR)
    assert found.co2_ppm == pytest.approx(439.09, abs=0.01)
    assert found.temp_c == pytest.approx(27.24, abs=0.01)
    assert found.rh_pct == pytest.approx(48.81, abs=0.01)


@pytest.mark.parametrize(
    ("reply", "error"),
    [
        (AIR[:-1], ShortError),
        (AIR + b"\0", LengthError),
        (AIR[:-1] + b"\x75", CrcError),
        (bytes(18), CrcError),
        (_numbers(float("nan"), 20.0, 50.0), OutOfRangeError),
        (_numbers(500.0, float("inf"), 50.0), OutOfRangeError),
        (_numbers(500.0, 20.0, float("-inf")), OutOfRangeError),
    ],
)
def test_what_is_no_measurement(reply: bytes, error: type[Exception]) -> None:
    """Neither broken words nor words that are no numbers become a value."""
    with pytest.raises(error):
        scd30.decode(reply)


def test_setup_writes_nothing_that_is_kept_already() -> None:
    """The part keeps its settings for good, in a memory that wears."""
    _made()


def test_setup_switches_self_calibration_off() -> None:
    """Switched off and read back; the part itself keeps it."""
    script = [(GET_ASC, ON), SET_OFF, (GET_ASC, OFF), WELL[1], START_SEA]
    play(scd30.make({}).setup(), script)


def test_setup_fails_where_self_calibration_stays_on() -> None:
    """A part that goes on calibrating itself would drift low: it is not started."""
    with pytest.raises(CalibrationError, match="self-calibration stays on"):
        play(scd30.make({}).setup(), [(GET_ASC, ON), SET_OFF, (GET_ASC, ON)])


def test_setup_sets_what_differs() -> None:
    """The description's own examples: 5 °C is 01f4, 1000 m are 03e8, 2 s are 0002."""
    script = [
        (GET_ASC, OFF),
        (GET_EVERY, _word(60)),
        (_say("46000002e3"), b""),
        (_say("5403", 3), _word(0)),
        (_say("540301f433"), b""),
        (_say("5102", 3), _word(0)),
        (_say("510203e8d4"), b""),
        START_SEA,
    ]
    part = scd30.make({"altitude_m": 1000, "temp_offset_c": 5.0})
    play(part.setup(), script)
    kept = [(_say("5403", 3), _word(500)), (_say("5102", 3), _word(1000))]
    play(part.setup(), [*WELL, *kept, START_SEA])


def test_a_reading() -> None:
    """Read once the part says that it is ready."""
    found = play(_made().poll(), [READY, (READ, AIR)])
    assert [(s.quantity, round(s.value, 1), s.quality) for s in found] == [
        ("co2_ppm", 439.1, "good"),
        ("temp_c", 27.2, "good"),
        ("rh_pct", 48.8, "good"),
    ]


def test_nothing_is_read_before_it_is_ready() -> None:
    """Without the flag the old value would be taken for new."""
    with pytest.raises(NotReadyError):
        play(_made().poll(), [NOT_READY])


def test_the_first_values_may_be_empty_and_later_ones_not() -> None:
    """An empty start is waited for; 0 ppm of a running part is no air."""
    part, empty = _made(), _numbers(0.0, 0.0, 0.0)
    for _ in range(2):
        with pytest.raises(NotReadyError, match="first values"):
            play(part.poll(), [READY, (READ, empty)])
    with pytest.raises(NotMeasuredError, match="0 ppm"):
        play(part.poll(), [READY, (READ, empty)])
    play(part.setup(), [*WELL, START_SEA])
    with pytest.raises(NotReadyError, match="first values"):
        play(part.poll(), [READY, (READ, empty)])


def test_errors_never_repeat_a_value() -> None:
    """After a good value, a broken answer gives an error and nothing else."""
    part = _made()
    play(part.poll(), [READY, (READ, AIR)])
    with pytest.raises(CrcError):
        play(part.poll(), [READY, (READ, AIR[:-1] + b"\0")])


def test_pressure_is_told_when_it_has_moved_by_four() -> None:
    """Told by the starting command; 940 and 943.4 are one to it, 944 is not."""
    part = _made()
    part.inform("pressure_hpa", 940.2)
    play(part.poll(), [(_say("0010" + _word(940).hex()), b""), READY, (READ, AIR)])
    part.inform("pressure_hpa", 943.4)
    play(part.poll(), [READY, (READ, AIR)])
    part.inform("pressure_hpa", 944.0)
    play(part.poll(), [(_say("0010" + _word(944).hex()), b""), READY, (READ, AIR)])
    part.inform("pressure_hpa", float("nan"))  # yesterday's is nearer than the sea's
    play(part.setup(), [*WELL, (_say("0010" + _word(944).hex()), b"")])
    play(part.poll(), [READY, (READ, AIR)])


@pytest.mark.parametrize(
    ("hpa", "is_told"), [(700, True), (1400, True), (699.9, False), (1400.1, False)]
)
def test_pressures_that_the_part_takes(hpa: float, is_told: bool) -> None:
    """700 to 1400 hPa (the maker's driver)."""
    part = _made()
    part.inform("pressure_hpa", hpa)
    tell = [(_say("0010" + _word(round(hpa)).hex()), b"")] if is_told else []
    play(part.poll(), [*tell, READY, (READ, AIR)])


def test_each_hour_it_is_looked_at_again() -> None:
    """A loss of power is not seen: it measures on, without the pressure."""
    part = _made()
    part.inform("pressure_hpa", 940.0)
    tell = (_say("0010" + _word(940).hex()), b"")
    play(part.poll(), [tell, READY, (READ, AIR)])
    for _ in range(718):
        play(part.poll(), [READY, (READ, AIR)])
    again = [(GET_ASC, ON), SET_OFF, (GET_ASC, OFF), tell]
    play(part.poll(), [*again, READY, (READ, AIR)])
    play(part.poll(), [READY, (READ, AIR)])


def test_where_it_is_not_made_for() -> None:
    """Below 0 °C and in the wet its maker promises nothing; at 40 000 ppm it ends."""
    cold = scd30.samples(scd30.Scd30Reading(600.0, -0.1, 50.0))
    assert {s.quality for s in cold} == {"outside-range"}
    wet = scd30.samples(scd30.Scd30Reading(600.0, 10.0, 95.1))
    assert {s.quality for s in wet} == {"outside-range"}
    top = scd30.samples(scd30.Scd30Reading(40000.0, 10.0, 50.0))
    assert [s.quality for s in top] == ["at-least", "good", "good"]
    assert scd30.samples(scd30.Scd30Reading(39999.0, 0.0, 95.0))[0].quality == "good"


def test_forced_recalibration() -> None:
    """450 ppm are 01c2, its CRC 50 (the description's own example); it is read back."""
    said, asked = (_say("520401c250"), b""), _say("5204", 3)
    play(scd30.recalibrate(450), [said, (asked, _word(450))])
    with pytest.raises(CalibrationError, match="not taken: it says 400 ppm, not 450"):
        play(scd30.recalibrate(450), [said, (asked, _word(400))])
    for target in (399, 2001):
        with pytest.raises(CalibrationError, match="outside 400 to 2000 ppm"):
            play(scd30.recalibrate(target), [])


def test_it_is_told_by_its_self_calibration() -> None:
    """A question that changes nothing: yes or no, with a checksum."""
    assert play(scd30.identify(), [(GET_ASC, OFF)])
    assert play(scd30.identify(), [(GET_ASC, ON)])
    assert not play(scd30.identify(), [(GET_ASC, _word(2))])
    assert not play(scd30.identify(), [(GET_ASC, b"\xff\xff\xff")])
