"""The step and the trend: what the trend is fed, and when it is told."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pytest

from cabinvigil.daemon.core.engine import ESTIMATE_EVERY_S, TREND_EVERY_S
from cabinvigil.daemon.core.model import (
    Estimate,
)
from tests.core.scenario import Night, cabin, series


@dataclass
class FakeTrend:
    """Counts what it is asked."""

    seen: list[tuple[float, dict[str, float]]] = field(default_factory=list)
    asked: list[float] = field(default_factory=list)
    anchored: list[frozenset[str]] = field(default_factory=list)

    def start(self) -> Any:
        return 0

    def update(self, state: Any, now_s: float, values: Mapping[str, float]) -> Any:
        self.seen.append((now_s, dict(values)))
        return state + 1

    def reanchor(self, state: Any, quantities: frozenset[str]) -> Any:
        self.anchored.append(quantities)
        return state

    def estimate(self, state: Any, now_s: float) -> Any | None:
        self.asked.append(now_s)
        return None if state < 3 else state

    def fields(self, estimate: Any) -> Mapping[str, Any]:
        return {"updates": estimate}


def test_the_trend_is_fed_each_tick_and_told_once_a_minute() -> None:
    """An estimate every ten seconds; a line in the log a minute, when there is one."""
    trend = FakeTrend()
    night = Night(cabin(trend=trend))
    night.hold({"o2_pct": 20.9}, 130.0, 5.0)
    assert len(trend.seen) == 26
    assert trend.asked == [5.0 + TREND_EVERY_S * n for n in range(13)]
    told = [(at, c) for at, c in night.said if isinstance(c, Estimate)]
    assert [at for at, _ in told] == [ESTIMATE_EVERY_S, 2 * ESTIMATE_EVERY_S]
    assert night.state.history.trend == told[-1][1].fields["updates"] + 2


def test_an_estimate_that_cannot_be_made_is_not_told() -> None:
    """None is no line in the log."""
    night = Night(cabin(trend=FakeTrend()))
    night.air({"o2_pct": 20.9}, 70.0)
    assert [c for _, c in night.said if isinstance(c, Estimate)] == []


def test_the_trend_sees_the_ruling_values_at_the_bunk_when_they_are_new() -> None:
    """Not the ceiling's, not the glass's, not an old one, not a lower bound."""
    trend = FakeTrend()
    keys = ["o2_pct__a", "o2_pct__b", "co2_ppm__a", "co2_ppm__b", "temp_c_glass"]
    night = Night(cabin(keys=[*keys, "rh_pct", "temp_c"], trend=trend))
    night.air(
        {
            "o2_pct__a": 20.0,
            "o2_pct__b": 20.5,
            "co2_ppm__a": 3000.0,
            "co2_ppm__b": 3500.0,
            "temp_c_glass": 2.0,
            "rh_pct": 60.0,
        },
        at_least=["rh_pct"],
    )
    night.air({"temp_c": 18.0})
    assert [values for _, values in trend.seen] == [
        {"o2_pct": 20.0, "co2_ppm": 3500.0},
        {"temp_c": 18.0},
    ]


def test_the_trend_does_not_follow_a_value_that_stands_still() -> None:
    """A part that repeats itself for too long tells nothing of the air's way."""
    trend = FakeTrend()
    lively = series("o2_pct", stuck_s=60.0, resolution=0.1, noise=0.2)
    night = Night(cabin(keys=[lively], trend=trend))
    night.hold({"o2_pct": 20.9}, 80.0)
    night.air({"o2_pct": 20.8})
    assert [len(values) for _, values in trend.seen] == [1] * 7 + [0, 1]


def test_a_value_that_stands_still_is_no_reading_for_the_trend() -> None:
    """Else its end, an hour later, would pass for a change of the air.

    A coarse series, and a column whose step is not known, may rightly stand.
    """
    lively = series("co2_ppm", interval_s=10.0, resolution=1.0, noise=10.0)
    coarse = series("o2_pct", stuck_s=300.0, resolution=0.1, noise=0.05)
    trend = FakeTrend()
    night = Night(cabin(keys=[lively, coarse, "rh_pct"], trend=trend))
    night.hold({"co2_ppm": 800.0, "o2_pct": 20.9, "rh_pct": 50.0}, 4 * 3600.0)
    seen = dict(trend.seen)
    assert "co2_ppm" in seen[310.0], "thirty of its intervals"
    assert seen[320.0] == {"o2_pct": 20.9, "rh_pct": 50.0} == seen[4 * 3600.0]
    night.air({"co2_ppm": 801.0, "o2_pct": 20.9})
    assert dict(trend.seen)[night.now] == {"co2_ppm": 801.0, "o2_pct": 20.9}


def test_what_a_part_makes_up_while_it_warms_up_is_no_air() -> None:
    """A CO2 module's 410 ppm, and then 3,000: neither the trend nor a minute has it."""
    trend = FakeTrend()
    module = series("co2_ppm", made_up_s=180.0)
    night = Night(cabin(keys=[module, series("o2_pct")], trend=trend))
    for tick in range(1, 40):
        is_warm = tick > 18
        night.air(
            {"co2_ppm": 3000.0 + tick if is_warm else 410.0, "o2_pct": 20.5},
            doubtful=[] if is_warm else ["co2_ppm"],
        )
    told = [values["co2_ppm"] for _, values in trend.seen if "co2_ppm" in values]
    assert (told[0], len(told)) == (3019.0, 21)
    assert len([1 for _, values in trend.seen if "o2_pct" in values]) == 39
    minutes = night.state.history.series["co2_ppm"].minutes
    assert min(mean for _, mean in minutes) > 3000.0


def test_a_doubt_of_long_ago_makes_nothing_up() -> None:
    """Such a module out in the cold: doubtful for hours, and read all the same."""
    trend = FakeTrend()
    night = Night(cabin(keys=[series("co2_ppm", made_up_s=180.0)], trend=trend))
    for _ in range(30):
        night.air({"co2_ppm": 900.0}, doubtful=["co2_ppm"])
    assert len([1 for _, values in trend.seen if values]) == 12


def test_how_far_a_cell_may_yet_settle_is_told_with_it() -> None:
    """So that what comes down of itself is not missed as oxygen."""
    trend = FakeTrend()
    cell = series("o2_pct", settles=1.0, warm_up_s=100.0)
    night = Night(cabin(keys=[cell], trend=trend))
    for _ in range(11):
        night.air({"o2_pct": 20.9}, doubtful=["o2_pct"])
    night.air({"o2_pct": 20.9})
    off = [values.get("o2_off_pct", 0.0) for _, values in trend.seen]
    assert off == [pytest.approx(max(0.0, 1.0 - n / 10.0)) for n in range(11)] + [0.0]
