"""Where two parts measure one quantity, the trend follows one of them."""

import random
from dataclasses import replace

import pytest

from cabinvigil.daemon.core.history import begin, breathe
from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.leading import led
from cabinvigil.daemon.core.model import Air
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.rules import displaced
from cabinvigil.daemon.trend.core_adapter import Trend
from cabinvigil.daemon.trend.model import TrendSetup
from tests.core.scenario import Night, cabin, series

HIGH, LOW = "o2_pct__high", "o2_pct__low"
"""Two parts 0.4 % apart, as makers allow."""


def two() -> list[SeriesSpec]:
    return [series(HIGH), series(LOW)]


@pytest.mark.hazard("crying-wolf")
def test_the_worse_leads_at_first_and_its_fellow_when_it_is_gone() -> None:
    """Said as a change, so that nothing compares the one with the other."""
    setup = cabin(keys=two())
    history = begin(setup.layout, 0.0)
    leaders: dict[str, str] = {}
    told = []
    for now, values in (
        (10.0, {HIGH: 20.8, LOW: 20.4}),
        (20.0, {HIGH: 20.8, LOW: 20.4}),
        (60.0, {HIGH: 20.8}),
        (70.0, {HIGH: 20.79, LOW: 20.4}),
    ):
        grown = breathe(replace(history, now=now), Air(values), now)
        history = replace(history, now=now, series=grown)
        fed, leaders, changed = led(history, leaders)
        told.append((fed.get("o2_pct"), bool(changed)))
    assert told == [(20.4, False), (20.4, False), (20.8, True), (20.4, True)]


def test_one_that_reads_clearly_worse_for_a_minute_takes_over() -> None:
    """The leader may have died at good air: the worse of two is to be believed."""
    night = Night(cabin(keys=two(), trend=Trend(TrendSetup())))
    night.hold({HIGH: 20.6, LOW: 20.7}, 120.0)
    assert night.state.leaders["o2_pct"] == HIGH
    night.hold({HIGH: 20.6, LOW: 20.55}, 120.0)
    assert night.state.leaders["o2_pct"] == HIGH, "they may differ by so much"
    night.hold({HIGH: 20.6, LOW: 20.2}, 180.0)
    assert night.state.leaders["o2_pct"] == LOW


@pytest.mark.hazard("crying-wolf")
@pytest.mark.parametrize("apart_pct", [0.2, 0.4])
@pytest.mark.parametrize("away_s", [60.0, 120.0, 600.0])
def test_no_other_gas_is_seen_where_a_part_falls_silent_and_comes_back(
    apart_pct: float, away_s: float
) -> None:
    """Burner low, vents open: the lower of two oxygen parts is away for a while."""
    rng = random.Random(7)
    spec = AlarmSpec(
        "displaced-air", "displaced", displaced.Params(), displaced.judge,
        off_delay_s=120.0,
    )  # fmt: skip
    keys = [*two(), "co2_ppm", "temp_c", "rh_pct"]
    trend = Trend(TrendSetup(11.0, 0.02, 0.01, 15.0, 10.0, 1.0, 30.0, 425.0))
    night = Night(cabin(spec, keys=keys, trend=trend))
    for _ in range(360):
        co2 = 3000.0 + rng.gauss(0.0, 10.0)
        o2 = 20.3 + rng.gauss(0.0, 0.02)
        values = {HIGH: round(o2 + apart_pct, 2), "co2_ppm": round(co2)}
        values |= {"temp_c": 12.0, "rh_pct": 60.0}
        if not 1800.0 <= night.now < 1800.0 + away_s:
            values[LOW] = round(o2, 2)
        night.air(values, 10.0)
    assert night.transitions("displaced-air") == []
