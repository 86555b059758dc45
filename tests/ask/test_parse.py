"""What may be asked from outside: whatever bytes come, an ask or one sentence."""

import json
import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.ask.parse import (
    ANSWER_OLDEST_S,
    LARGEST,
    LONGEST_NAME,
    OLDEST_S,
    Ask,
    Origin,
    RefusedError,
    one_line,
    parse_ask,
)
from cabinvigil.daemon.core.model import Act, ActKind

NOW = datetime(2025, 1, 15, 2, 0, tzinfo=UTC)


def ask(by: Origin = "phone", wall: datetime | None = NOW, **fields: object) -> Ask:
    return parse_ask(json.dumps(fields).encode(), by, wall)


def ago(seconds: float) -> str:
    return (NOW - timedelta(seconds=seconds)).isoformat()


def test_an_answer_from_the_phone_has_its_age_and_its_sender() -> None:
    """What it answers is what had rung by then; who gave it is told."""
    got = ask(ask="acknowledge", alarm="o2-low", id="42", at=ago(4.25), text="Ana")
    act = Act(ActKind.ACKNOWLEDGE, "o2-low", "phone", "Ana", age_s=4.25)
    assert got == Ask("acknowledge", act, "42")


def test_without_an_alarm_all_that_stand_are_meant() -> None:
    got = ask(ask="acknowledge", at=ago(0.0))
    assert got.act is not None
    assert got.act.alarm == ""


@pytest.mark.parametrize("verb", sorted(kind.value for kind in ActKind))
def test_every_act_can_be_asked_for_at_the_cabin(verb: str) -> None:
    got = ask("socket", ask=verb, alarm="co-level", text="soup", for_s=600)
    assert got.act == Act(ActKind(verb), "co-level", "socket", "soup", 600.0)


def test_a_phone_cannot_take_a_guard_out_of_service() -> None:
    """That needs a hand in the cabin."""
    with pytest.raises(RefusedError, match="must be one of"):
        ask(ask="out-of-service", alarm="co-level")


@pytest.mark.parametrize(
    "data",
    [
        b'{"ask": "status", "ask": "acknowledge"}',
        b'{"ask": "mark", "text": "soup", "text": "all clear"}',
        b'{"ask": "status", "id": {"a": 1, "a": 2}}',
    ],
)
def test_x12_a_key_that_stands_twice_is_refused(data: bytes) -> None:
    """One reader takes the first and another the last: a gate before us may differ."""
    with pytest.raises(RefusedError, match="is there twice"):
        parse_ask(data, "socket")


def test_nothing_else_can_be_asked_for() -> None:
    """No verb sets a limit, runs a command, or silences without bound."""
    for verb in (
        "silence",
        "set",
        "run",
        "limit",
        "reload",
        "stop",
        "quiet",
        "",
        "ACK",
    ):
        with pytest.raises(RefusedError):
            ask(ask=verb, alarm="o2-low", text="x")


def test_status_needs_nothing_else() -> None:
    assert ask(ask="status") == Ask("status", None, "")


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({}, "must be one of"),
        ({"ask": 3}, "must be one of"),
        ({"ask": ["mark"]}, "must be one of"),
        ({"ask": "mark", "limit": 3}, "'limit' is not known"),
        ({"ask": "mark"}, "needs 'text'"),
        ({"ask": "mark", "text": " \n "}, "needs 'text'"),
        ({"ask": "mark", "text": 3}, "must be a text"),
        ({"ask": "mark", "text": "x" * 201}, "201 characters"),
        ({"ask": "mark", "text": "a\u0000b"}, "cannot be shown"),
        ({"ask": "mark", "text": "\ud800"}, "cannot be shown"),
        ({"ask": "shelve"}, "needs 'alarm'"),
        ({"ask": "shelve", "alarm": "cold"}, "needs 'for_s'"),
        ({"ask": "shelve", "alarm": "cold", "for_s": 0}, "needs 'for_s'"),
        ({"ask": "acknowledge", "alarm": "../etc"}, "alarm's id"),
        ({"ask": "acknowledge", "alarm": "a/b/c"}, "alarm's id"),
        ({"ask": "acknowledge", "alarm": None}, "must be a text"),
        ({"ask": "shelve", "alarm": "cold", "for_s": "1h"}, "seconds"),
        ({"ask": "shelve", "alarm": "cold", "for_s": True}, "seconds"),
        ({"ask": "shelve", "alarm": "cold", "for_s": -1}, "seconds"),
        ({"ask": "shelve", "alarm": "cold", "for_s": 1e9}, "seconds"),
        ({"ask": "status", "id": "x" * 65}, "at most 64"),
        ({"ask": "status", "at": "tonight"}, "a moment"),
        ({"ask": "status", "at": 5}, "a moment"),
    ],
)
def test_each_mistake_is_one_sentence(fields: dict[str, object], word: str) -> None:
    with pytest.raises(RefusedError, match=word):
        ask(**{"at": ago(1.0), **fields})


@pytest.mark.parametrize(
    "data",
    [
        b"", b"acknowledge", b"[]", b"3", b"null", b"\xff\xfe", b"{", b"{}x",
        b"[" * 2000, b'{"a":' * 400, b'{"ask":"status","for_s":NaN}x',
    ],
)  # fmt: skip
def test_what_is_no_object_is_refused(data: bytes) -> None:
    with pytest.raises(RefusedError):
        parse_ask(data, "phone")


def test_not_a_number_is_no_time() -> None:
    for text in (b"NaN", b"Infinity", b"-Infinity"):
        with pytest.raises(RefusedError, match="seconds"):
            parse_ask(b'{"ask":"mark","text":"x","for_s":' + text + b"}", "phone")


def test_size_is_capped() -> None:
    """The cap holds before any parsing."""
    with pytest.raises(RefusedError, match="too many"):
        parse_ask(b"{" + b" " * LARGEST + b"}", "phone")


ACTS = ("acknowledge", "reset", "shelve", "unshelve", "return-to-service", "test")


@pytest.mark.parametrize("verb", ACTS)
def test_a_phone_does_nothing_without_the_moment(verb: str) -> None:
    """It may be hours old, or have been kept by a broker for whoever comes."""
    fields: dict[str, object] = {"ask": verb, "alarm": "cold", "for_s": 60}
    with pytest.raises(RefusedError, match=r"needs 'at', the moment.*such as 2025-"):
        ask(**fields)
    with pytest.raises(RefusedError, match=r"clock is not set.*press the button"):
        ask(wall=None, at=ago(1.0), **fields)
    assert ask("socket", None, **fields).act is not None, "it is in the cabin"
    assert ask(at=ago(1.0), **fields).act is not None


def test_a_mark_needs_no_moment_where_a_retained_one_would_be_seen() -> None:
    """MQTT 5 shows what was retained; below it only the moment tells."""
    data = b'{"ask": "mark", "text": "heater on low"}'
    assert parse_ask(data, "phone", NOW).act is not None
    assert parse_ask(data, "phone", None).act is not None
    with pytest.raises(RefusedError, match="needs 'at'"):
        parse_ask(data, "phone", NOW, shows_retained=False)
    status = b'{"ask": "status"}'
    assert parse_ask(status, "phone", None, shows_retained=False).act is None


@pytest.mark.parametrize("verb", ["acknowledge", "reset"])
@pytest.mark.parametrize("by", ["phone", "socket"])
def test_a_stale_answer_cannot_quiet_an_alarm_of_now(verb: str, by: Origin) -> None:
    """A bridge kept it: it was given to another alarm."""
    with pytest.raises(RefusedError, match=r"31 s ago.*another alarm; ask again"):
        ask(by, ask=verb, at=ago(ANSWER_OLDEST_S + 1))
    got = ask(by, ask=verb, at=ago(ANSWER_OLDEST_S - 1))
    assert got.act is not None
    assert got.act.age_s == ANSWER_OLDEST_S - 1
    with pytest.raises(RefusedError, match=r"4\.0 h ago"):
        ask(by, ask=verb, at=ago(4 * 3600.0))


def test_a_phone_whose_clock_runs_ahead_cannot_make_an_old_answer_young() -> None:
    """As far ahead as it may be old, and no further; ahead, it is of this moment."""
    with pytest.raises(RefusedError, match="31 s in the future; set the phone"):
        ask(ask="acknowledge", at=ago(-ANSWER_OLDEST_S - 1))
    got = ask(ask="acknowledge", at=ago(-ANSWER_OLDEST_S + 1))
    assert got.act is not None
    assert got.act.age_s == 0.0


def test_what_is_no_answer_may_be_two_minutes_old() -> None:
    fields: dict[str, object] = {"ask": "mark", "text": "vent open"}
    assert ask(at=ago(OLDEST_S - 1), **fields).act is not None
    with pytest.raises(RefusedError, match="ask again"):
        ask(at=ago(OLDEST_S + 1), **fields)


def test_an_ask_from_the_future_is_refused() -> None:
    with pytest.raises(RefusedError, match="clock"):
        ask(ask="mark", text="x", at="2025-01-15T03:00:00")
    with pytest.raises(RefusedError, match="a moment"):
        ask(ask="acknowledge", at="9999-12-31T23:59:59-23:00x")


@pytest.mark.parametrize(
    ("fields", "name", "told"),
    [
        ({"text": "Ana's phone"}, "phone-7", "Ana's phone"),
        ({"id": "42"}, "phone-7", "phone-7"),
        ({"id": "42"}, "", "42"),
        ({}, "", ""),
        ({}, "Ana\n\u202e phone\x1b[31m \x00", "Ana phone[31m"),
        ({}, "x" * 3000, "x" * LONGEST_NAME),
        ({"text": "x" * 150}, "", "x" * LONGEST_NAME),
    ],
)
def test_who_answers_has_a_name_that_can_be_told(
    fields: dict[str, object], name: str, told: str
) -> None:
    """By its own words, its MQTT user property, or its id; bounded and printable."""
    data = json.dumps({"ask": "acknowledge", "at": ago(1.0)} | fields).encode()
    got = parse_ask(data, "phone", NOW, name=name)
    assert got.act is not None
    assert got.act.text == told
    assert one_line(got.act.text) == got.act.text


def test_ten_thousand_random_and_mutated_asks() -> None:
    """Random bytes and damaged honest asks: an ask or a refusal, nothing else."""
    dice = random.Random(11)
    honest = [
        b'{"ask": "acknowledge", "alarm": "o2-low", "at": "2025-01-15T01:59:59Z"}',
        b'{"ask": "mark", "text": "roof vent open 2 cm", "at": "2025-01-15T02:00:00Z"}',
        b'{"ask": "mark", "text": "heater on low", "id": "7"}',
    ]
    outcomes = {"ask": 0, "refused": 0}
    for number in range(10_000):
        if number % 4 == 0:
            data = dice.randbytes(dice.randrange(200))
        else:
            changed = bytearray(dice.choice(honest))
            for _ in range(dice.randint(1, 3)):
                changed[dice.randrange(len(changed))] = dice.randrange(256)
            data = bytes(changed)
        try:
            got = parse_ask(data, "phone", NOW)
        except RefusedError as error:
            outcomes["refused"] += len(str(error)) < 300
        else:
            outcomes["ask"] += 1
            assert got.act is None or got.act.kind is not ActKind.OUT_OF_SERVICE
            assert got.act is None or got.act.by == "phone"
    assert sum(outcomes.values()) == 10_000, "and each refusal is one short sentence"
    assert outcomes["refused"] > 5_000
    assert outcomes["ask"] > 100


@settings(max_examples=150)
@given(
    st.dictionaries(
        st.sampled_from(["ask", "alarm", "text", "for_s", "id", "at", "x"]),
        st.none() | st.booleans() | st.floats() | st.text(max_size=12)
        | st.sampled_from(["mark", "shelve", "status", "cold"]),
    )
)  # fmt: skip
def test_any_object_is_an_ask_or_a_refusal(fields: dict[str, object]) -> None:
    try:
        got = parse_ask(json.dumps(fields).encode(), "socket", NOW)
    except RefusedError:
        return
    if got.act is not None:
        assert 0.0 <= got.act.for_s <= 24 * 3600.0
        assert got.act.text.isprintable()
