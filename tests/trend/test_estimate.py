"""The trend tells the same of the same night as when it was last judged."""

import json

import pytest

from cabinvigil.daemon.trend import zone_filter
from tests.tools.figures import moved
from tests.tools.told_nights import DRAWN, KNOWN, NIGHTS, readings, told
from tests.values import can_be_changed

AS_DRAWN = json.loads(DRAWN.read_text("utf-8"))


def same(found: object, drawn: object) -> bool:
    """Compare to the sixth figure; probabilities to a billionth."""
    if isinstance(drawn, dict) and isinstance(found, dict):
        return found.keys() == drawn.keys() and all(
            same(found[key], drawn[key]) for key in drawn
        )
    if isinstance(drawn, list) and isinstance(found, list | tuple):
        return len(found) == len(drawn) and all(map(same, found, drawn))
    if isinstance(drawn, float | int) and isinstance(found, float | int):
        return found == pytest.approx(drawn, rel=1e-6, abs=1e-9)
    return found == drawn


@pytest.mark.parametrize("name", NIGHTS)
def test_the_same_night_is_told_the_same(name: str) -> None:
    """If a change is meant, and the benchmark says that it is a better one, draw it
    anew: python -m tests.tools.told_nights."""
    found, drawn = told(name), AS_DRAWN[name]
    assert len(found) == len(drawn)
    for now, then in zip(found, drawn, strict=True):
        other = [
            f"{key} {now.get(key)}, was {then.get(key)}"
            for key in now.keys() | then.keys()
            if not same(now.get(key), then.get(key))
        ]
        assert not other, f"{then['now_s']:g} s: {other}"


def test_the_fall_is_measured_from_one_bank_whichever_leads() -> None:
    """A gas pushes the air out: O2's own bank leads, and is told anew once a minute.

    Measured against the other bank's lows, the fall was a third less at that tick.
    """
    night, state, falls = NIGHTS["leak"], zone_filter.start(KNOWN), []
    for now_s, seen in readings(night, "leak"):
        state = zone_filter.update(night.setup, state, now_s, seen)
        found = zone_filter.estimate(night.setup, state, now_s)
        if found is not None and 1500.0 <= now_s <= 1700.0:
            assert not found.belief[0].reads_co2
            falls.append(found.o2_fallen_pct)
    assert max(falls) - min(falls) < 0.15


def test_what_is_asked_where_nothing_is_said() -> None:
    """Limits, horizons and the cabin's defaults are those that were looked up."""
    assert moved("unsaid") == []


def test_no_value_is_changed_behind_its_back() -> None:
    """A night must replay, so nobody may alter what another still holds."""
    assert can_be_changed("cabinvigil.daemon.trend") == []
