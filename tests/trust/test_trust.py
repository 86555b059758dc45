"""A share of the table of wrong parts: what the evening's tests find, and the rest."""

import pytest

from tests.trust.play import EVENING, NEVER, Row, play
from tests.trust.ways import WAYS, Way, o2


def way(gas: str, name: str) -> Way:
    (found,) = [one for one in WAYS if (one.gas, one.name) == (gas, name)]
    return found


def test_each_way_has_a_name_of_its_own() -> None:
    names = [(one.gas, one.name) for one in WAYS]
    assert len(names) == len(set(names)) >= 25


@pytest.mark.parametrize("gas", ["o2", "co"])
def test_sound_parts_pass_the_evening_and_wake_in_time(gas: str) -> None:
    """Else whatever is wrong would be found, and nothing be shown by it."""
    word, wake = play(way(gas, "nothing is wrong"), with_more=True, is_tested=True)
    assert EVENING not in (word, wake)
    assert not Row(way(gas, "nothing is wrong"), [(word, wake)] * 2).is_beyond


@pytest.mark.parametrize(
    ("gas", "name"), [("o2", "worn: capped, and spanned so"), ("co", "blind")]
)
def test_what_nothing_ever_told_is_found_before_bed(gas: str, name: str) -> None:
    """L2, L3: a blind cell, and one that no longer follows."""
    one = way(gas, name)
    assert play(one, with_more=False, is_tested=False) == (NEVER, NEVER)
    assert play(one, with_more=False, is_tested=True) == (EVENING, EVENING)


def test_a_month_s_drift_passes() -> None:
    """Half a per cent of its signal, as a cell loses in a month (sensors.md 7a)."""
    drifted = Way("a month on", "o2", o2(lambda v: 0.995 * v))
    word, wake = play(drifted, with_more=True, is_tested=True)
    assert EVENING not in (word, wake)
