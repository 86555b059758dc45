"""How much may be asked: of each sender by itself, whatever the others do."""

import json
from datetime import UTC, datetime

import pytest

from cabinvigil.daemon.ask.limits import FLOOD, AskLimits, Kind, kind_of
from cabinvigil.daemon.ask.parse import Ask, parse_ask

NOW = datetime(2025, 1, 15, 2, 0, tzinfo=UTC)


def ask(**fields: object) -> Ask:
    return parse_ask(json.dumps(fields).encode(), "socket", NOW)


def test_ten_at_once_then_one_a_second() -> None:
    limits = AskLimits()
    assert [limits.admit("Ana", "act", 0.0) for _ in range(20)] == (
        [True] * 10 + [False] * 10
    )
    for second in range(1, 31):
        assert limits.admit("Ana", "act", float(second))
        assert not limits.admit("Ana", "act", float(second))


def test_a_flood_of_a_thousand_a_second_lets_one_a_second_in() -> None:
    limits = AskLimits()
    let_in = sum(limits.admit("", "act", number / 1_000) for number in range(60_000))
    assert let_in <= 10 + 60


@pytest.mark.parametrize("flooder", ["", "the flooder", "another name each time"])
def test_a_flooder_shuts_out_itself_alone(flooder: str) -> None:
    """Whether it has no name, one, or a new one with each ask."""
    limits = AskLimits()
    assert limits.admit("Ana's phone", "answer", 0.0)
    for number in range(1, 60_001):
        now_s = number / 1_000
        name = f"{flooder} {number}" if "each" in flooder else flooder
        limits.admit(name, "answer", now_s)
        if number % 10_000 == 0:
            assert limits.admit("Ana's phone", "answer", now_s)


def test_five_people_may_look_each_second_and_never_wait() -> None:
    """`show` asks each two seconds, at most each second."""
    limits = AskLimits()
    for second in range(600):
        for person in range(5):
            assert limits.admit(f"process {person}", "look", float(second))


def test_many_names_write_no_more_marks_than_a_few() -> None:
    """Each mark is a line of the log, kept at once."""
    limits = AskLimits()
    marks = 0
    for number in range(60_000):
        marks += limits.admit(f"name {number % 50}", "act", number / 1_000)
    assert marks <= 20 + 2 * 60


def test_whoever_looks_or_says_nonsense_may_act_all_the_same() -> None:
    limits = AskLimits()
    spent: list[Kind] = ["look", "other", "act"]
    for kind in spent:
        while limits.admit("Ana", kind, 0.0):
            pass
    assert limits.admit("Ana", "answer", 0.0)
    assert kind_of(ask(ask="status")) == "look"
    assert kind_of(ask(ask="test")) == "act"
    assert kind_of(ask(ask="reset")) == "answer"
    assert kind_of(None) == "other"


def test_newcomers_of_one_group_take_nothing_from_those_of_another() -> None:
    """A user who starts a hundred processes shuts out his own alone."""
    limits = AskLimits()
    for number in range(100):
        limits.admit(f"user 1 process {number}", "answer", 0.0, "user 1")
    assert not limits.admit("user 1 process 999", "answer", 0.0, "user 1")
    assert limits.admit("user 2 process 999", "answer", 0.0, "user 2")


def test_memory_is_bounded() -> None:
    limits = AskLimits()
    for number in range(10_000):
        limits.admit(f"name {number}", "act", float(number), f"group {number}")
    assert len(limits._buckets) <= limits.SENDERS
    assert len(limits._newcomers) <= limits.SENDERS


def test_a_flood_begins_with_so_many_refused_and_ends_with_them() -> None:
    """A trickle too many is none, however long."""
    limits = AskLimits()
    for number in range(FLOOD + 20):
        limits.admit("", "act", number / 1_000)
    assert limits.is_flooded(0.3)
    assert limits.is_flooded(10.5), "it is over, and that is not known yet"
    assert not limits.is_flooded(20.5)
    slow = AskLimits()
    for number in range(2_000):
        slow.admit("", "act", number / 10)
        assert not slow.is_flooded(number / 10)


def test_refusals_are_told_at_once_and_then_ever_more_seldom() -> None:
    """A night of them is a page, and not a book; after a rest the next is news."""
    limits = AskLimits()
    told = [second for second in range(8 * 3600) if limits.crowded(float(second))]
    assert told[:4] == [0, 10, 30, 70]
    assert len(told) < 20
    assert limits.refused(8 * 3600.0) == 1, "what is refused for its words is told"
    assert limits.crowded(8 * 3600.0 + 61.0) > 0
