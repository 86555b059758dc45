"""SCD4x on a strict wire: set up from any state, its flag obeyed, recalibrated."""

from typing import Any

import pytest

from cabinvigil.drivers import scd4x
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CrcError,
    NotMeasuredError,
    NotReadyError,
    Transfer,
)
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import play


def _say(code: str, rx_len: int = 0, delay_s: float = 0.001) -> Transfer:
    return Transfer(bytes.fromhex(code), rx_len, delay_s)


STOP = (_say("3f86", delay_s=0.5), b"")
SERIAL = (_say("3682", 9), bytes.fromhex("f896319f07c23bbe89"))
GET_ASC = _say("2313", 3)
OFF, ON = bytes.fromhex("000081"), bytes.fromhex("0001b0")
SET_OFF = (_say("2416000081"), b"")
START = (_say("21b1", delay_s=0.0), b"")
ASK_READY = _say("e4b8", 3)
READY, NOT_READY = bytes.fromhex("800604"), bytes.fromhex("8000a2")
READ = _say("ec05", 9)
AIR = bytes.fromhex("01f4336667a25eb93c")


def _made(**options: Any) -> scd4x.Scd4x:
    part = scd4x.make(options)
    play(part.setup(), [STOP, SERIAL, (GET_ASC, OFF), *_extra(options), START])
    return part


def _extra(options: dict[str, Any]) -> list[tuple[Transfer, bytes]]:
    lines = {"temp_offset_c": "241d07e648", "altitude_m": "2427079e09"}
    return [(_say(lines[key]), b"") for key in lines if key in options]


def test_setup_where_self_calibration_is_off() -> None:
    """Nothing is written to the part's memory where nothing has to change."""
    _made()


def test_setup_switches_self_calibration_off_and_keeps_it() -> None:
    """On as delivered: it is switched off, read back, and kept through power cuts."""
    persist = (_say("3615", delay_s=0.8), b"")
    script = [STOP, SERIAL, (GET_ASC, ON), SET_OFF, (GET_ASC, OFF), persist, START]
    play(scd4x.make({}).setup(), script)


def test_setup_fails_where_self_calibration_stays_on() -> None:
    """A part that goes on calibrating itself would drift low: it is not started."""
    script = [STOP, SERIAL, (GET_ASC, ON), SET_OFF, (GET_ASC, ON)]
    with pytest.raises(CalibrationError, match="self-calibration stays on"):
        play(scd4x.make({}).setup(), script)


def test_setup_tells_the_site() -> None:
    """1950 m and 5.4 °C are spelled as a public library spells them."""
    _made(altitude_m=1950, temp_offset_c=5.4)


def test_setup_refuses_a_broken_serial_number() -> None:
    """What answers without right checksums is not started."""
    with pytest.raises(CrcError):
        play(scd4x.make({}).setup(), [STOP, (SERIAL[0], bytes(9))])


def test_first_value_is_doubtful_then_good() -> None:
    """The first value after a start is served, but may clear nothing."""
    part = _made()
    first = play(part.poll(), [(ASK_READY, READY), (READ, AIR)])
    assert {s.quality for s in first} == {"outside-range"}
    second = play(part.poll(), [(ASK_READY, READY), (READ, AIR)])
    assert [(s.quantity, round(s.value, 2), s.quality) for s in second] == [
        ("co2_ppm", 500.0, "good"),
        ("temp_c", 25.0, "good"),
        ("rh_pct", 37.0, "good"),
    ]


def test_first_value_stays_first_until_read() -> None:
    """A broken answer is not the first value."""
    part = _made()
    with pytest.raises(CrcError):
        play(part.poll(), [(ASK_READY, READY), (READ, bytes(9))])
    first = play(part.poll(), [(ASK_READY, READY), (READ, AIR)])
    assert first[0].reason == "it is the first value after a start"


def test_nothing_is_read_before_it_is_ready() -> None:
    """Without the flag no value is read: the old one must not be taken for new."""
    with pytest.raises(NotReadyError):
        play(_made().poll(), [(ASK_READY, NOT_READY)])


def test_errors_never_repeat_a_value() -> None:
    """After a good value, a broken answer gives an error and nothing else."""
    part = _made()
    play(part.poll(), [(ASK_READY, READY), (READ, AIR)])
    with pytest.raises(CrcError):
        play(part.poll(), [(ASK_READY, READY), (READ, AIR[:-1] + b"\0")])
    with pytest.raises(CrcError):
        play(part.poll(), [(ASK_READY, bytes(3))])


def test_pressure_is_told_once_and_when_it_changes() -> None:
    """98 700 Pa is e000 03db (v1.1 table 17); after a new start it is told again."""
    part = _made()
    part.inform("pressure_hpa", 987.2)
    tell = (_say("e00003db42"), b"")
    ready = [(ASK_READY, READY), (READ, AIR)]
    play(part.poll(), [tell, *ready])
    play(part.poll(), ready)
    part.inform("pressure_hpa", 950.0)
    play(part.poll(), [(_say("e000" + with_crc(950).hex()), b""), *ready])
    play(part.setup(), [STOP, SERIAL, (GET_ASC, OFF), START])
    play(part.poll(), [(_say("e000" + with_crc(950).hex()), b""), *ready])


@pytest.mark.parametrize(
    ("quantity", "value"),
    [
        ("pressure_hpa", 600.0),
        ("pressure_hpa", 1300.0),
        ("pressure_hpa", float("nan")),
        ("temp_c", 987.0),
    ],
)
def test_impossible_pressures_are_not_told(quantity: str, value: float) -> None:
    """What the part would not take is not sent."""
    part = _made()
    part.inform(quantity, value)
    play(part.poll(), [(ASK_READY, READY), (READ, AIR)])


def test_full_scale() -> None:
    """At 40 000 ppm the true value is that or more."""
    top = scd4x.Scd4xReading(40000, 20.0, 50.0)
    assert scd4x.samples(top)[0].quality == "at-least"
    assert scd4x.samples(scd4x.Scd4xReading(39999, 20.0, 50.0))[0].quality == "good"


def test_zero_is_no_air() -> None:
    """0 ppm with a right checksum is what a temperature-only shot returns."""
    with pytest.raises(NotMeasuredError, match="0 ppm"):
        scd4x.samples(scd4x.Scd4xReading(0, 20.0, 50.0))


def test_frozen_part_is_outside_its_range() -> None:
    """Below -10 °C its maker promises nothing."""
    found = scd4x.samples(scd4x.Scd4xReading(600, -12.0, 50.0))
    assert {s.quality for s in found} == {"outside-range"}
    assert "below -10" in found[0].reason


RECALIBRATE = _say("362f01e0b4", 3, 0.4)


def test_forced_recalibration() -> None:
    """Target 480 ppm and an answer of 7fce make -50 ppm (v1.3 table 18)."""
    script = [STOP, (RECALIBRATE, bytes.fromhex("7fce7b")), START]
    assert play(scd4x.recalibrate(480), script) == -50


@pytest.mark.parametrize(
    ("answer", "error"), [("ffffac", CalibrationError), ("ffff00", CrcError)]
)
def test_failed_recalibration_starts_again(answer: str, error: type[Exception]) -> None:
    """Whatever came of it, the part measures again."""
    with pytest.raises(error):
        play(
            scd4x.recalibrate(480), [STOP, (RECALIBRATE, bytes.fromhex(answer)), START]
        )


@pytest.mark.parametrize("target", [0, 349, 2001, 65536])
def test_recalibration_refuses_targets_that_no_fresh_air_has(target: int) -> None:
    """Nothing is said to the part for a target that cannot be right."""
    with pytest.raises(CalibrationError, match="fresh outdoor air is about 425 ppm"):
        play(scd4x.recalibrate(target), [])


@pytest.mark.parametrize("target", [350, 2000])
def test_recalibration_takes_targets_up_to_both_ends(target: int) -> None:
    """The ends themselves are air that there is."""
    said = _say("362f" + with_crc(target).hex(), 3, 0.4)
    script = [STOP, (said, bytes.fromhex("7fce7b")), START]
    assert play(scd4x.recalibrate(target), script) == -50


def test_identify_asks_what_is_allowed_while_measuring() -> None:
    """'Data ready' disturbs nothing (v1.3 table 9), and its checksum tells the part."""
    assert play(scd4x.identify(), [(ASK_READY, NOT_READY)])
    assert not play(scd4x.identify(), [(ASK_READY, b"\xff\xff\xff")])
