"""A fall that is fast and near, whatever model one holds."""

import math
import random
from typing import Any

import attrs
import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import rate
from cabinvigil.daemon.rules.rate import Params
from tests.core.scenario import Night, cabin
from tests.rules.asked import asked, says

FALLING = Params("o2_pct", "below", 3.0, 19.5, 900.0)
RISING = Params("co2_ppm", "above", 6000.0, 30000.0, 900.0)


def falling(per_h: float, minutes: float, start: float = 20.9) -> Night:
    """Oxygen that falls at one rate, read every ten seconds."""
    night = Night(cabin())
    for tick in range(int(minutes * 6) + 1):
        night.air({"o2_pct": start - per_h * tick * 10.0 / 3600.0})
    return night


def test_a_fast_fall_near_the_limit_rings() -> None:
    """6 % an hour from 20.9: a quarter of an hour from 19.5 it rings."""
    assert says(rate, FALLING, falling(6.0, 7.0)) is Priority.MEDIUM
    assert says(rate, FALLING, falling(2.9, 10.0, 19.9)) is None


def test_a_fast_fall_far_from_the_limit_does_not() -> None:
    """4 % an hour from 20.9 has twenty minutes and more."""
    assert says(rate, FALLING, falling(4.0, 6.0)) is None


@pytest.mark.parametrize("minutes", [0.0, 3.0, 4.5])
def test_before_five_minutes_nothing_can_be_told(minutes: float) -> None:
    """Sen's interval wants five means: until then the level stands guard."""
    assert asked(rate, FALLING, falling(60.0, minutes)) is None


def test_the_numbers_of_the_sentence() -> None:
    """The rate, the limit, and the minutes to it."""
    verdict = asked(rate, FALLING, falling(6.0, 7.0))
    assert verdict is not None
    assert verdict.facts["o2_pct"] == pytest.approx(20.2)
    assert verdict.facts["rate_pct_per_h"] == pytest.approx(-6.0, rel=0.01)
    assert verdict.facts["limit"] == 19.5
    assert verdict.facts["minutes"] == pytest.approx(7.0, rel=0.02)
    assert verdict.severity == pytest.approx(6.0, rel=0.01)
    assert verdict.evidence["series"] == "o2_pct"


def test_a_rise_is_no_fall() -> None:
    """Airing out: no minutes to a limit that it moves away from."""
    verdict = asked(rate, FALLING, falling(-6.0, 7.0, 18.5))
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, None)
    assert "minutes" not in verdict.facts


def test_past_the_limit_there_are_no_minutes_to_it() -> None:
    """Falling on below 19.5 %: that it falls is said, and no forecast."""
    verdict = asked(rate, FALLING, falling(6.0, 7.0, 19.6))
    assert verdict is not None
    assert verdict.priority is Priority.MEDIUM
    assert "minutes" not in verdict.facts


def test_carbon_dioxide_rises_likewise() -> None:
    """The other side, another quantity, no oxygen in the sentence."""
    night = Night(cabin(keys=["co2_ppm"]))
    for tick in range(50):
        night.air({"co2_ppm": 25000.0 + 100.0 * tick})
    verdict = asked(rate, RISING, night)
    assert verdict is not None
    assert verdict.priority is Priority.MEDIUM
    assert "o2_pct" not in verdict.facts


def test_it_stands_on_until_the_fall_is_clearly_slower() -> None:
    """Held at half the rate and at twice the distance."""
    verdict = asked(rate, FALLING, falling(2.0, 8.0, 19.9))
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, Priority.MEDIUM)


def test_noise_does_not_ring() -> None:
    """A coarse sensor in still air: what its noise explains is no fall."""
    rng = random.Random(7)
    night = Night(cabin())
    for _ in range(6 * 60 * 4):
        value = round(rng.gauss(19.75, 0.05), 1)
        night.air({"o2_pct": value})
        verdict = asked(rate, FALLING, night)
        assert verdict is None or verdict.priority is None


def test_a_doubtful_value_may_raise_and_never_clears() -> None:
    """Out of its range the part may warn; it may not reassure."""
    fast, slow = falling(6.0, 7.0), falling(0.0, 7.0)
    fast.air({"o2_pct": 20.1}, doubtful=["o2_pct"])
    slow.air({"o2_pct": 20.9}, doubtful=["o2_pct"])
    assert says(rate, FALLING, fast) is Priority.MEDIUM
    assert asked(rate, FALLING, slow) is None


def test_without_a_fresh_value_nothing_can_be_told() -> None:
    """A fall of old is no fall now."""
    night = falling(6.0, 7.0)
    night.air({}, 31.0)
    assert asked(rate, FALLING, night) is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"quantity": "oxygen"},
        {"limit_per_h": 0.0},
        {"limit_per_h": math.nan},
        {"within_s": 0.0},
        {"window_s": 120.0},
        {"window_s": 3600.0},
    ],
)
def test_limits_that_cannot_be_are_refused(wrong: dict[str, Any]) -> None:
    """A window with fewer than five minutes would never ring."""
    with pytest.raises(ValueError, match=next(iter(wrong))):
        attrs.evolve(FALLING, **wrong)
