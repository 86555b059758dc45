"""A crossing that is coming: probability in, verdict out."""

from dataclasses import replace
from typing import Any

import pytest

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import projection
from cabinvigil.daemon.rules.projection import Params, judge
from cabinvigil.daemon.trend.model import Crossing, CrossingQuery, TrendEstimate
from tests.core.scenario import Night, cabin

O2 = Params("o2_pct", "below", 19.5)
CO2 = Params("co2_ppm", "above", 30000.0, margin=0.0)


def told(far: float, near: float, quantity: str = "o2_pct") -> TrendEstimate:
    level, side = (19.55, "below") if quantity == "o2_pct" else (30000.0, "above")
    asks: Any = (
        CrossingQuery(quantity, level, side, 1200.0),  # type: ignore[arg-type]
        CrossingQuery(quantity, level, side, 300.0),  # type: ignore[arg-type]
    )
    return TrendEstimate(
        at_s=100.0,
        crossings=(Crossing(asks[0], far), Crossing(asks[1], near)),
        o2_pct=20.0,
        o2_rate_pct_per_h=(-2.2, -2.0, -1.8),
        o2_settles_pct=(18.0, 18.5, 19.0),
        o2_minutes=(12.0, 15.0, None),
        co2_ppm=9000.0,
        co2_rate_ppm_per_h=(1.0, 2.0, 3.0),
        co2_minutes=None,
        air_changes_per_h=(0.3, 0.5, 0.8),
        burn_kw=None,
        source_ppm_per_h=(1.0, 2.0, 3.0),
        o2_per_co2=1.7,
        sensors=("o2_pct", "co2_ppm"),
        unexplained_o2_pct=0.0,
        unexplained_z=0.0,
        gases_disagree_z=0.0,
        watched_s=900.0,
        o2_fallen_pct=0.5,
    )


def history(trend: TrendEstimate | None, doubtful: bool = False) -> History:
    night = Night(cabin())
    night.air({"o2_pct": 20.0})
    past = replace(night.state.history, trend=trend)
    if doubtful:
        seen = replace(past.series["o2_pct"], doubtful=True)
        past = replace(past, series={"o2_pct": seen})
    return past


def raised(far: float, near: float, params: Params = O2) -> Priority | None:
    verdict = judge(params, history(told(far, near, params.quantity)), 100.0)
    assert verdict is not None
    return verdict.priority


@pytest.mark.parametrize(
    ("far", "near", "priority"),
    [
        (0.92, 0.0, None),
        (0.93, 0.0, Priority.MEDIUM),
        (0.5, 0.39, None),
        (0.5, 0.4, Priority.MEDIUM),
        (0.99, 0.59, Priority.MEDIUM),
        (0.99, 0.6, Priority.HIGH),
    ],
)
@pytest.mark.parametrize("params", [O2, CO2])
def test_rings_on_probability(
    params: Params, far: float, near: float, priority: Priority | None
) -> None:
    """Near certainty within 20 min wakes; a real chance within five does too, and a
    likely crossing within five means get up."""
    assert raised(far, near, params) is priority


@pytest.mark.parametrize(
    ("stood", "priority"), [(0.0, None), (0.23, None), (0.24, Priority.MEDIUM)]
)
def test_what_springs_up_is_waited_for(stood: float, priority: Priority | None) -> None:
    """Three odd readings make a chance that was none half a minute ago."""
    trend = told(0.96, 0.0)
    sprung = replace(trend.crossings[0], lowest=stood)
    trend = replace(trend, crossings=(sprung, *trend.crossings[1:]))
    verdict = judge(O2, history(trend), 100.0)
    assert verdict is not None
    assert verdict.priority is priority


def test_cannot_tell_without_a_trend() -> None:
    """No estimate, or no CO2 for a CO2 question: neither alarm nor all-clear."""
    assert judge(O2, history(None), 100.0) is None
    blind = replace(told(0.0, 0.0), co2_ppm=None)
    assert judge(CO2, history(blind), 100.0) is None


def test_a_doubtful_cell_never_clears() -> None:
    """A cell that warms up may raise, and says nothing when all seems well."""
    assert judge(O2, history(told(0.0, 0.0), doubtful=True), 100.0) is None
    verdict = judge(O2, history(told(0.99, 0.0), doubtful=True), 100.0)
    assert verdict is not None
    assert verdict.priority is Priority.MEDIUM


def test_a_puff_at_the_sensor_does_not_ring() -> None:
    """However steep CO2 climbs: O2 that has not come down by 0.15 is no projection,
    but near the limit nothing is waited for."""
    puff = replace(told(0.99, 0.9), o2_fallen_pct=0.14, o2_pct=20.8)
    verdict = judge(O2, history(puff), 100.0)
    assert verdict is not None
    assert verdict.priority is None
    close = judge(O2, history(replace(puff, o2_pct=19.9)), 100.0)
    assert close is not None
    assert close.priority is Priority.HIGH


def test_holds_until_half_is_left() -> None:
    """A filter that wavers must not ring, clear and ring again."""
    verdict = judge(O2, history(told(0.6, 0.0)), 100.0)
    assert verdict is not None
    assert verdict.priority is None
    assert verdict.hold is Priority.MEDIUM
    gone = judge(O2, history(told(0.3, 0.0)), 100.0)
    assert gone is not None
    assert gone.hold is None


def test_says_what_it_was_judged_on() -> None:
    """Facts for the sentence, and the evidence that the morning page shows."""
    verdict = judge(O2, history(told(0.97, 0.2)), 100.0)
    assert verdict is not None
    assert verdict.facts["o2_pct"] == 20.0
    assert verdict.facts["rate_pct_per_h"] == -2.0
    assert verdict.facts["minutes"] == 15.0
    assert verdict.facts["settles_pct"] == 18.5
    assert verdict.facts["limit"] == 19.5
    evidence = verdict.evidence
    assert evidence["probability"] == 0.97
    assert evidence["margin"] == 0.05
    assert evidence["air_changes_per_h"] == (0.3, 0.5, 0.8)
    assert evidence["sensors"] == ["o2_pct", "co2_ppm"]
    assert evidence["still_learning"] is False
    assert verdict.severity == pytest.approx(1.17)


def test_co2_says_its_own_numbers() -> None:
    """CO2's facts hold CO2, and no minutes where it levels off first."""
    verdict = judge(CO2, history(told(0.97, 0.2, "co2_ppm")), 100.0)
    assert verdict is not None
    assert verdict.facts["co2_ppm"] == 9000.0
    assert "minutes" not in verdict.facts


@pytest.mark.parametrize(
    ("o2_pct", "wording"),
    [(19.56, ""), (19.54, "past"), (19.5, "past"), (18.0, "past")],
)
def test_past_the_limit_there_is_no_forecast(o2_pct: float, wording: str) -> None:
    """What would be told as 19.5 % is no longer on its way there."""
    night = Night(cabin())
    night.air({"o2_pct": o2_pct})
    seen = replace(night.state.history, trend=told(0.99, 0.9))
    verdict = judge(O2, seen, 100.0)
    assert verdict is not None
    assert verdict.wording == wording


@pytest.mark.parametrize(
    ("co2_ppm", "wording"), [(29_400.0, ""), (29_500.0, "past"), (31_000.0, "past")]
)
def test_past_the_limit_of_co2_there_is_none_either(
    co2_ppm: float, wording: str
) -> None:
    """From above, in the thousands in which it is told."""
    trend = replace(told(0.99, 0.9, "co2_ppm"), co2_ppm=co2_ppm)
    verdict = judge(CO2, history(trend), 100.0)
    assert verdict is not None
    assert verdict.wording == wording


def test_settings_that_make_no_sense_are_refused() -> None:
    """A quantity that nobody projects, and a side that harms nobody."""
    with pytest.raises(ValueError, match="not projected"):
        Params("co_ppm", "above", 70.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="needs 'below'"):
        Params("o2_pct", "above", 19.5)


def test_one_instance() -> None:
    """The rule is judged once, for the air at the bunk."""
    assert projection.PER == "once"


@pytest.mark.parametrize(
    ("far", "near", "median_min", "said_min"),
    [
        (0.95, 0.0, 15.0, 15.0),
        # The chance is that of a level a little inside the limit: no later than asked.
        (0.95, 0.0, 23.0, 20.0),
        # It rang for the next minutes; the middle of all futures says nothing of them.
        (0.45, 0.43, 140.0, None),
        # It rings no more: then the middle of all futures is the news.
        (0.30, 0.0, 35.0, 35.0),
    ],
)
def test_says_no_later_than_what_it_rang_for(
    far: float, near: float, median_min: float, said_min: float | None
) -> None:
    trend = replace(told(far, near), o2_minutes=(1.0, median_min, None))
    verdict = judge(O2, history(trend), 100.0)
    assert verdict is not None
    assert verdict.facts.get("minutes") == said_min
