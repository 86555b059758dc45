"""What may be asked from outside: whatever bytes come, an ask or one sentence."""

import json
import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.ask.parse import (
    LARGEST,
    OLDEST_S,
    Ask,
    Origin,
    RateLimiter,
    RefusedError,
    parse_ask,
)
from cabinvigil.daemon.core.model import Act, ActKind

NOW = datetime(2025, 1, 15, 2, 0, tzinfo=UTC)


def ask(by: Origin = "phone", wall: datetime | None = NOW, **fields: object) -> Ask:
    return parse_ask(json.dumps(fields).encode(), by, wall)


def test_an_acknowledgement_from_the_phone() -> None:
    got = ask(ask="acknowledge", alarm="o2-low", id="42")
    assert got == Ask("acknowledge", Act(ActKind.ACKNOWLEDGE, "o2-low", "phone"), "42")


def test_without_an_alarm_all_that_stand_are_meant() -> None:
    got = ask(ask="acknowledge")
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
        ask(**fields)


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
            parse_ask(b'{"ask":"acknowledge","for_s":' + text + b"}", "phone")


def test_size_is_capped() -> None:
    """The cap holds before any parsing."""
    with pytest.raises(RefusedError, match="too many"):
        parse_ask(b"{" + b" " * LARGEST + b"}", "phone")


def test_a_stale_ask_cannot_quiet_an_alarm_of_now() -> None:
    """A bridge kept it for hours: the acknowledgement was for another alarm."""
    old = (NOW - timedelta(seconds=OLDEST_S + 1)).isoformat()
    with pytest.raises(RefusedError, match="ask again"):
        ask(ask="acknowledge", at=old)
    fresh = (NOW - timedelta(seconds=OLDEST_S - 1)).isoformat()
    assert ask(ask="acknowledge", at=fresh).act is not None
    assert ask(wall=None, ask="acknowledge", at=old).act is not None


def test_an_ask_from_the_future_is_refused() -> None:
    with pytest.raises(RefusedError, match="clock"):
        ask(ask="acknowledge", at="2025-01-15T03:00:00")
    with pytest.raises(RefusedError, match="a moment"):
        ask(ask="acknowledge", at="9999-12-31T23:59:59-23:00x")


def test_ten_thousand_random_and_mutated_asks() -> None:
    """Random bytes and damaged honest asks: an ask or a refusal, nothing else."""
    dice = random.Random(11)
    honest = [
        b'{"ask": "acknowledge", "alarm": "o2-low", "id": "7"}',
        b'{"ask": "mark", "text": "roof vent open 2 cm", "at": "2025-01-15T02:00:00Z"}',
        b'{"ask": "shelve", "alarm": "cold", "for_s": 3600}',
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


# --- the gate ----------------------------------------------------------------------


def test_ten_at_once_then_one_a_second() -> None:
    gate, got = RateLimiter(), []
    for _ in range(20):
        gate, is_in = gate.admit(0.0)
        got.append(is_in)
    assert got == [True] * 10 + [False] * 10
    for second in range(1, 31):
        gate, first = gate.admit(float(second))
        gate, again = gate.admit(float(second))
        assert (first, again) == (True, False)


def test_a_flood_of_a_thousand_a_second_lets_one_a_second_in() -> None:
    gate, let_in = RateLimiter(), 0
    for number in range(60_000):
        gate, is_in = gate.admit(number / 1_000)
        let_in += is_in
    assert let_in <= 10 + 60


def test_refusals_are_told_every_ten_seconds_with_their_number() -> None:
    gate, told = RateLimiter(), []
    for number in range(30_000):
        gate, count = gate.refuse(number / 1_000)
        if count:
            told.append(count)
    assert told == [1, 10_000, 10_000]


def test_a_mark_that_is_delivered_twice_is_one_mark() -> None:
    """MQTT may deliver twice; the second is answered and not done again."""
    gate = RateLimiter()
    first = ask(ask="mark", text="vent open", id="9")
    other = ask(ask="mark", text="vent shut", id="9")
    gate, repeat = gate.is_repeat(first, 0.0)
    assert not repeat
    gate, repeat = gate.is_repeat(first, 1.0)
    assert repeat
    gate, repeat = gate.is_repeat(other, 2.0)
    assert not repeat
    gate, repeat = gate.is_repeat(first, 200.0)
    assert not repeat


def test_an_acknowledgement_is_never_held_for_a_repeat() -> None:
    """A client that numbers all its asks '1' can still quiet the next alarm."""
    gate = RateLimiter()
    for second in range(5):
        gate, repeat = gate.is_repeat(ask(ask="acknowledge", id="1"), float(second))
        assert not repeat
    for number in range(100):
        gate, _ = gate.is_repeat(ask(ask="test", id=str(number)), 1.0)
    assert len(gate.recent) <= 32
