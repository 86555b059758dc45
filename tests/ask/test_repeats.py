"""Asks that come twice: done once, and answered alike."""

from datetime import UTC, datetime

from cabinvigil.daemon.ask.parse import Ask, parse_ask
from cabinvigil.daemon.ask.repeats import KEPT, Repeats

NOW = datetime(2025, 1, 15, 2, 0, tzinfo=UTC)


def asked(data: str, now: datetime = NOW) -> Ask:
    return parse_ask(data.encode(), "phone", now)


FIRST = asked('{"ask": "mark", "text": "vent open", "id": "9"}')
OTHER = asked('{"ask": "mark", "text": "vent shut", "id": "9"}')


def test_a_mark_that_is_delivered_twice_is_one_mark() -> None:
    repeats = Repeats()
    first, is_repeat = repeats.first_of(FIRST, 0.0)
    assert not is_repeat
    first.body = {"ok": False, "text": "Nothing was done."}
    again, is_repeat = repeats.first_of(FIRST, 1.0)
    assert is_repeat
    assert again.body == first.body, "what came of it, and not that it was done"
    assert not repeats.first_of(OTHER, 2.0)[1]
    assert not repeats.first_of(FIRST, 200.0)[1]


def test_what_comes_again_is_the_same_though_it_is_older() -> None:
    repeats = Repeats()
    data = '{"ask": "reset", "id": "9", "at": "2025-01-15T01:59:55Z"}'
    assert not repeats.first_of(asked(data), 0.0)[1]
    assert repeats.first_of(asked(data, NOW.replace(second=4)), 4.0)[1]


def test_an_acknowledgement_is_never_held_for_a_repeat() -> None:
    """A client that numbers all its asks '1' can still quiet the next alarm."""
    repeats = Repeats()
    data = '{"ask": "acknowledge", "id": "1", "at": "2025-01-15T01:59:55Z"}'
    for second in range(5):
        assert not repeats.first_of(asked(data), float(second))[1]


def test_so_many_are_kept() -> None:
    repeats = Repeats()
    for number in range(1_000):
        repeats.first_of(
            asked(f'{{"ask": "mark", "text": "x", "id": "{number}"}}'), 1.0
        )
    assert len(repeats._firsts) == KEPT
