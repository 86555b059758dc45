"""The projection against drawing at random, and against plain algebra."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.trend.bank import Component
from cabinvigil.daemon.trend.line import RatioLine
from cabinvigil.daemon.trend.project import (
    POINTS,
    Point,
    above_probability,
    below_probability,
    flame_ends_pct,
    minutes_triple,
    spread,
    triple,
    weighty,
)


def part(weight: float, c: float, s: float, sd_c: float, sd_s: float) -> Component:
    cov = 0.3 * sd_c * sd_s
    return (weight, 9, c, s, c, sd_c**2, cov, sd_c**2, sd_s**2, cov, sd_c**2)


PARTS = (
    (0.4 / 3600.0, part(0.5, 3000.0, 4.0, 20.0, 0.4)),
    (5.0 / 3600.0, part(0.3, 3000.0, 8.0, 20.0, 0.8)),
    (9.0 / 3600.0, part(0.2, 3000.0, 1.0, 20.0, 0.3)),
)
LINE = RatioLine(20.8, 1.75e-4, 0.02**2, 0.0, (0.05e-4) ** 2)


def drawn(horizon_s: float, limit_pct: float) -> float:
    """The share of random presents that cross within the horizon."""
    rng = np.random.default_rng(1)
    total = 0.0
    for k, p in PARTS:
        cov = [[p[5], p[6]], [p[6], p[8]]]
        c, s = rng.multivariate_normal((p[2], p[3]), cov, 20000).T
        level = rng.normal(LINE.level_pct, math.sqrt(LINE.var_level), 20000)
        ratio = rng.normal(LINE.ratio, math.sqrt(LINE.var_ratio), 20000)
        end = s / k + (c - s / k) * math.exp(-k * horizon_s)
        worst = np.maximum(c, end)
        total += p[0] * float(np.mean(level - ratio * worst <= limit_pct))
    return total


@pytest.mark.parametrize("limit_pct", [19.2, 19.5, 19.8, 20.2])
@pytest.mark.parametrize("horizon_s", [300.0, 1200.0])
def test_probability_is_the_share_of_presents_that_cross(
    limit_pct: float, horizon_s: float
) -> None:
    """Closed form and 60 000 random presents agree within 2 points."""
    found = below_probability(PARTS, LINE, limit_pct, horizon_s)
    assert found == pytest.approx(drawn(horizon_s, limit_pct), abs=0.02)


def test_a_nearer_limit_or_a_longer_horizon_is_likelier() -> None:
    """Probability grows with the limit and with the horizon."""
    limits = [below_probability(PARTS, LINE, x, 600.0) for x in (19.0, 19.5, 20.0)]
    assert limits == sorted(limits)
    times = [below_probability(PARTS, LINE, 19.5, x) for x in (60.0, 600.0, 6000.0)]
    assert times == sorted(times)
    rising = [above_probability(PARTS, x, 1200.0) for x in (9000.0, 6000.0, 2900.0)]
    assert rising == sorted(rising)
    assert rising[-1] > 0.999


def test_minutes_by_algebra() -> None:
    """x(t) = end + (x0 - end) exp(-k t), solved for t."""
    point = Point(2.0 / 3600.0, 1000.0, 5.0, 20.6, 1.75e-4)
    end = 5.0 * 1800.0
    minutes = point.minutes_to(4000.0)
    assert end + (1000.0 - end) * math.exp(-minutes / 30.0) == pytest.approx(4000.0)
    assert point.minutes_to(999.0) == 0.0
    assert math.isinf(point.minutes_to(end))
    assert point.settles_pct() == pytest.approx(20.6 - 1.75e-4 * (end - 1000.0))
    assert point.minutes_to_o2(20.6 - 1.75e-4 * 3000.0) == pytest.approx(minutes)
    assert point.o2_rate_per_h() == pytest.approx(
        -1.75e-4 * 3600.0 * (5.0 - 1000.0 / 1800.0)
    )


def test_points_follow_the_belief() -> None:
    """The spread has the belief's mean and spread, and is the same every time."""
    points = spread(PARTS, LINE, 0.5)
    assert len(points) == POINTS
    assert points == spread(PARTS, LINE, 0.5)
    excess = [p.excess_ppm for p in points]
    assert sum(excess) / len(excess) == pytest.approx(3000.0, abs=6.0)
    assert np.std(excess) == pytest.approx(20.0, rel=0.3)
    assert sum(p.k_per_s < 2e-4 for p in points) == pytest.approx(POINTS // 2, abs=12)
    low, mid, high = triple([p.k_per_s * 3600.0 for p in points])
    assert low < 0.5
    assert 0.2 < mid < 6.5
    assert high > 6.0


def test_triples() -> None:
    """The 5, 50 and 95 % points; None for what never comes."""
    values = [float(v) for v in range(101)]
    random.Random(1).shuffle(values)
    assert triple(values) == (5.0, 50.0, 95.0)
    assert minutes_triple([math.inf] * 100) is None
    assert minutes_triple([1.0] * 40 + [math.inf] * 60) == (1.0, None, None)


def test_parts_without_weight_are_left_out() -> None:
    """What weighs less than three in ten thousand moves nothing that is told."""
    tiny = (1e-4, part(1e-6, 0.0, 0.0, 1.0, 1.0))
    kept = weighty((*PARTS, tiny))
    assert [k for k, _ in kept] == [k for k, _ in PARTS]
    assert sum(p[0] for _, p in kept) == pytest.approx(1.0)


@given(
    st.floats(2e-5, 6e-3),
    st.floats(-2e3, 9e4),
    st.floats(-40.0, 80.0),
    st.floats(0.0, 22.0),
    st.floats(0.5e-4, 3e-4),
    st.floats(0.0, 1.0),
)
def test_no_present_settles_where_no_air_can(
    k: float, excess: float, source: float, o2: float, ratio: float, share: float
) -> None:
    """Outdoor air is 20.95 % (dry), and a flame takes nothing where it is out; so
    neither O2 nor CO2 is foretold beyond that."""
    point = Point(k, excess, source, o2, ratio, flame_ends_pct(o2, share))
    assert point.least_pct <= point.settles_pct() <= 20.95
    if o2 > 9.0:
        assert point.settles_pct() >= 9.0
        assert math.isinf(point.minutes_to_o2(8.99))
        beyond = excess + (o2 - 8.99) / ratio
        assert math.isinf(point.minutes_to(beyond))
    else:
        assert point.least_pct == 0.0


@given(st.floats(9.01, 21.0), st.floats(0.0, 1.0))
def test_a_flame_that_burns_has_not_gone_out(o2: float, share: float) -> None:
    """Its end lies where tests saw one (9.0 to 15.6), and below the oxygen now."""
    assert 9.0 <= flame_ends_pct(o2, share) <= min(15.6, o2)


def test_another_gas_is_not_held_up_by_a_flame_s_end() -> None:
    """Only what burns or breathes ends with the flame."""
    fierce = ((0.1 / 3600.0, part(1.0, 3000.0, 40.0, 20.0, 0.4)),)
    assert min(p.settles_pct() for p in spread(fierce, LINE, 0.5)) == 0.0
    burning = [p.settles_pct() for p in spread(fierce, LINE, 0.5, is_flame=True)]
    assert triple(burning)[0] == pytest.approx(9.0, abs=0.6)
    assert triple(burning)[2] == pytest.approx(15.6, abs=0.3)
