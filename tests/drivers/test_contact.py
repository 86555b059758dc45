"""The contact: what lasts is never missed, no bounce counts, a bad wire is told."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import contact as part
from cabinvigil.drivers.kit.ads1115 import CONVERT_S
from cabinvigil.drivers.kit.steps import (
    FramingError,
    LengthError,
    OutOfRangeError,
    Sample,
    Transfer,
    WireLooseError,
    WireOpenError,
    WireShortError,
)
from tests.wire import MODEST, Line, outcome, play


def told(*messages: bytes) -> list[float]:
    """Feed messages, without their newlines, to one contact; return what each tells."""
    made = part.make({})
    found = []
    for message in messages:
        (sample,) = made.feed(message + b"\n")
        assert sample == Sample("contact", sample.value)
        found.append(sample.value)
    return found


# --- the message ----------------------------------------------------------------------


def test_a_message_is_read_span_by_span() -> None:
    """By hand: 312 ms at rest, 168 ms closed, 20 ms at rest."""
    assert part.decode(b"0 1@312 0@480 =500\n") == [
        (False, 312), (True, 168), (False, 20),
    ]  # fmt: skip
    assert part.decode(b"1 =0\n") == [(True, 0)]


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        (b"", FramingError, "^this is not a message of a line$"),
        (b" \n", FramingError, "^this is not a message of a line$"),
        (
            b"0 " * 2049,
            LengthError,
            "^4098 bytes came where a line reports a few dozen$",
        ),
        (b"0 =500", FramingError, "^this is not a message of a line$"),
        (b"2 =500\n", FramingError, "^this is not a message of a line$"),
        (b"0 =500 junk\n", FramingError, "^this is not a message of a line$"),
        (
            b"0 1@600 =500\n",
            FramingError,
            "^the times of a line's changes run",
        ),
        (b"0 1@300 0@299 =500\n", FramingError, "run backwards$"),
    ],
)
def test_what_is_no_message_is_refused(
    text: bytes, error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        part.decode(text)


def test_the_longest_message_is_read() -> None:
    """What is as long as may be is judged by what it holds."""
    longest = b"0" + b" 1@1" * 1022 + b" =5555\n"
    assert len(longest) == part.LONGEST
    assert len(part.decode(longest)) == 1023
    with pytest.raises(LengthError):
        part.decode(longest.replace(b"5555", b"55555"))


@MODEST
@given(
    st.one_of(
        st.binary(max_size=80), st.from_regex(rb"[01]( [01]@\d{1,4}){0,9} =\d{1,5}\n")
    )
)
def test_any_bytes_give_one_sample_or_one_named_error(data: bytes) -> None:
    made = part.make({})
    assert outcome(lambda: made.feed(data)) != "driver"
    assert [one.value for one in made.feed(b"1 =60\n") + made.feed(b"1 =60\n")][
        1
    ] == 1.0


# --- what counts ----------------------------------------------------------------------


def test_the_first_level_is_believed_at_once() -> None:
    """It may have stood for hours: a smoke alarm that rings as the watch starts."""
    assert told(b"1 =0") == [1.0]
    assert told(b"0 =0") == [0.0]


@pytest.mark.parametrize(("ms", "tells"), [(29, 0.0), (30, 1.0), (31, 1.0)])
def test_what_lasts_longer_than_a_bounce_counts_though_it_is_over(
    ms: int, tells: float
) -> None:
    """A certified alarm's word is not lost between two looks."""
    assert told(b"0 =500", b"0 1@100 0@%d =500" % (100 + ms)) == [0.0, tells]


def test_a_bounce_is_neither_a_closing_nor_an_opening() -> None:
    assert told(b"0 =500", b"0 1@490 0@495 1@499 =500", b"1 =500") == [
        0.0,
        0.0,
        1.0,
    ]
    assert told(b"1 =500", b"1 0@100 1@115 =500", b"1 0@495 =500", b"0 =500") == [
        1.0, 1.0, 1.0, 0.0,
    ]  # fmt: skip


def test_a_span_goes_on_from_one_message_to_the_next() -> None:
    """20 ms at the end of one and 10 at the start of the next are 30."""
    assert told(b"0 =500", b"0 1@480 =500", b"1 0@10 =500") == [0.0, 0.0, 1.0]
    assert told(b"0 =500", b"0 1@480 =500", b"1 0@9 =500") == [0.0, 0.0, 0.0]
    assert told(b"0 =500", b"0 1@480 =500", b"0 1@0 0@10 =500") == [0.0, 0.0, 0.0]


def chatter(changes: int, first: int = 0) -> bytes:
    words = [f"{(first + n) % 2}@{10 * n}" for n in range(1, changes + 1)]
    return f"{first} {' '.join(words)} ={10 * changes + 5}\n".encode()


def test_what_only_comes_and_goes_is_a_loose_wire() -> None:
    """A relay that bounces makes some six changes; a dozen and none lasts are told."""
    made = part.make({})
    made.feed(b"0 =500\n")
    assert made.feed(chatter(11))[0].value == 0.0
    with pytest.raises(WireLooseError, match=r"^it came and went 12 times at once$"):
        made.feed(chatter(12))


def test_a_loose_wire_never_takes_a_closed_contact_back() -> None:
    """What rang goes on ringing until it has been open for longer than a bounce."""
    assert told(b"1 =500", chatter(30, first=1)[:-1], b"1 0@9 =19") == [1.0, 1.0, 1.0]
    assert told(b"1 =500", chatter(30, first=1)[:-1], b"1 0@9 =40", b"0 =5")[3] == 0.0


SPANS = st.lists(st.tuples(st.booleans(), st.integers(0, 200)), min_size=1, max_size=12)


@MODEST
@given(st.lists(SPANS, min_size=1, max_size=5))
def test_a_reference_that_looks_each_millisecond_agrees(
    windows: list[list[tuple[bool, int]]],
) -> None:
    """Against a plain loop over milliseconds, for any course of any line."""
    made = part.make({})
    level, for_ms, is_closed = windows[0][0][0], 30, windows[0][0][0]
    for spans in windows:
        at_ms, words = 0, [f"{spans[0][0]:d}"]
        is_told = False
        for index, (is_on, ms) in enumerate(spans):
            if index:
                words.append(f"{is_on:d}@{at_ms}")
            at_ms += ms
            if is_on is not level:
                level, for_ms = is_on, 0
            for step in range(ms + 1):
                for_ms += bool(step)
                if for_ms >= 30:
                    is_closed = level
            is_told = is_told or is_closed
        text = f"{' '.join(words)} ={at_ms}\n".encode()
        if not is_told and len(spans) > 12:
            assert outcome(lambda text=text: made.feed(text)) == "wire_loose"
        else:
            assert made.feed(text) == [Sample("contact", float(is_told))]


# --- the wire -------------------------------------------------------------------------


def wire(**options: Any) -> part.Wire:
    return part.make(options).wire


def test_ohms_law_by_hand() -> None:
    """1.65 V of 3.3 V: the wire has as much as the pull-up."""
    assert wire().ohms(1650.0) == pytest.approx(10_000.0)
    assert wire(pull_up_ohm=4700.0, supply_mv=3000.0).ohms(1500.0) == pytest.approx(
        4700
    )
    assert wire().ohms(3300.0) == math.inf
    assert wire().ohms(3310.0) == math.inf
    assert wire().ohms(-1.0) == 0.0


def mv(ohm: float) -> float:
    return 3300.0 * ohm / (10_000.0 + ohm)


@pytest.mark.parametrize(
    ("ohm", "is_alarm"),
    [
        (47_000.0, False),
        (23_600.0, False),
        (93_900.0, False),
        (501.0, True),
        (1999.0, True),
    ],
)
def test_a_wire_within_a_factor_of_two_is_as_it_should_be(
    ohm: float, is_alarm: bool
) -> None:
    assert wire().is_alarm(mv(ohm)) is is_alarm


@pytest.mark.parametrize(
    ("ohm", "error", "words"),
    [
        (94_100.0, WireOpenError, "^the wire is open$"),
        (499.0, WireShortError, "^the wire is shorted$"),
        (0.0, WireShortError, "^the wire is shorted$"),
        (
            2010.0,
            OutOfRangeError,
            "^the wire has 2.0 kOhm, neither as at rest nor as in",
        ),
        (23_400.0, OutOfRangeError, "^the wire has 23.4 kOhm, neither"),
        (23_460.0, OutOfRangeError, "^the wire has 23.5 kOhm, neither"),
    ],
)
def test_each_trouble_of_a_wire_has_its_own_name(
    ohm: float, error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        wire().is_alarm(mv(ohm))


def test_a_normally_closed_contact_has_its_resistances_the_other_way() -> None:
    """It opens in alarm: the high resistance is then the alarm's."""
    turned = wire(rest_ohm=1000.0, alarm_ohm=47_000.0)
    assert turned.is_alarm(mv(47_000.0)) is True
    assert turned.is_alarm(mv(1000.0)) is False
    with pytest.raises(WireOpenError):
        turned.is_alarm(3300.0)
    with pytest.raises(WireShortError):
        turned.is_alarm(0.0)


@MODEST
@given(st.floats(-500.0, 4096.0))
def test_any_voltage_is_judged_or_named(millivolts: float) -> None:
    assert outcome(lambda: wire().is_alarm(millivolts)) in {
        "value", "wire_open", "wire_short", "out_of_range",
    }  # fmt: skip


def looked(counts: int, pins: str = "0", word: str = "c303") -> bool:
    """Play one look at the wire, the converter's registers by SBAS444."""
    config = bytes.fromhex(word)
    check: list[Line] = [
        (Transfer(b"\x02", 2), b"\x80\x00"),
        (Transfer(b"\x03", 2), b"\x7f\xff"),
    ]
    once: list[Line] = [
        (Transfer(b"\x01" + config, 0, CONVERT_S), b""),
        (Transfer(b"\x01", 2), config),
        (Transfer(b"\x00", 2), counts.to_bytes(2, "big")),
    ]
    return play(part.make({"pins": pins}).look(), check + once * 3)


def test_a_look_at_the_wire_reads_one_input_against_ground() -> None:
    """Multiplexer 100 for AIN0, 110 for AIN2; gain 001 for 4.096 V (SBAS444)."""
    assert looked(21_768) is False
    assert looked(2354) is True
    assert looked(2354, "2", "e303") is True


# --- the options ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rest", "alarm", "is_good"),
    [(8000.0, 1000.0, True), (7990.0, 1000.0, False), (1000.0, 8000.0, True)],
)
def test_rest_and_alarm_must_be_told_apart(
    rest: float, alarm: float, is_good: bool
) -> None:
    if is_good:
        assert wire(rest_ohm=rest, alarm_ohm=alarm).rest_ohm == rest
        return
    with pytest.raises(ValueError, match=r"^rest_ohm: 7990 and alarm_ohm 1000 are too"):
        wire(rest_ohm=rest, alarm_ohm=alarm)


def test_the_refusal_says_how_far_apart_they_must_be() -> None:
    """The figure is the one that decides."""
    with pytest.raises(ValueError, match=r"one must be 8 times the other or more$"):
        wire(rest_ohm=7999.0, alarm_ohm=1000.0)
    assert wire(rest_ohm=8000.0, alarm_ohm=1000.0) == wire(rest_ohm=8000.0)


def test_the_usual_wire_is_the_one_of_the_table() -> None:
    """hardware.md and the example say these."""
    assert wire() == part.Wire("0", 10_000.0, 47_000.0, 1000.0, 3300.0)


def test_the_pull_is_one_of_three() -> None:
    for pull in ("up", "down", "none"):
        part.make({"pull": pull})
    with pytest.raises(ValueError, match="pull: 'high' is none of up, down, none"):
        part.make({"pull": "high"})


def test_it_has_nothing_to_say_and_takes_nothing() -> None:
    made = part.make({})
    made.inform("temp_c", 20.0)
    assert (made.opening(), made.request()) == (b"", b"")
    assert made.feed(b"0 =1\n") == [Sample("contact", 0.0)]
