"""The robust rate against published worked examples and a reference library."""

import math
import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from cabinvigil.daemon.trend.rate import (
    correlation_inflation,
    median,
    pair_slopes,
    robust_rate,
    sen_interval,
)

# P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379, data after Graybill 1961 (from memory;
# the result was worked out again with scipy and agrees with the recalled print).
SEN_1968 = list(zip([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78], strict=True))


def test_sen_1968_slope_and_interval() -> None:
    """Sen's own example gives 4 and, at 93 %, 26/7 to 35/8."""
    slopes = pair_slopes([(float(t), float(v)) for t, v in SEN_1968])
    assert len(slopes) == 21
    assert median(slopes) == 4.0
    z_93 = float(stats.norm.ppf(0.965))
    assert sen_interval(slopes, 7, z_93) == pytest.approx((26 / 7, 35 / 8))


def test_one_wild_point_moves_nothing() -> None:
    """A wild sixth point leaves the slope at 1; least squares says 1.714.

    Data after Helsel & Hirsch, Statistical Methods in Water Resources (from memory).
    """
    points = [(float(x), float(y)) for x, y in enumerate([1, 2, 3, 4, 5, 16, 7], 1)]
    rate = robust_rate(points)
    assert rate is not None
    assert rate.mid == pytest.approx(3600.0)
    least_squares = stats.linregress([p[0] for p in points], [p[1] for p in points])
    assert least_squares.slope == pytest.approx(1.714286, abs=1e-6)


def test_decay_of_a_tracer() -> None:
    """ln(C - 420) of a 0.80 per hour decay falls by 0.8000 an hour.

    Rows as a tracer-decay test writes them (ASTM E741, from memory): start 1 600 ppm
    above a background of 420, every 5 min, rounded to 0.1 ppm.
    """
    rows = [
        (60.0 * m, round(420.0 + 1600.0 * math.exp(-0.8 * m / 60.0), 1))
        for m in range(0, 65, 5)
    ]
    rate = robust_rate([(t, math.log(c - 420.0)) for t, c in rows])
    assert rate is not None
    assert rate.mid == pytest.approx(-0.8, abs=0.0005)


@settings(max_examples=60, derandomize=True)
@given(st.lists(st.integers(-1000, 1000), min_size=5, max_size=30))
def test_agrees_with_scipy(values: list[int]) -> None:
    """The slope is scipy's `theilslopes`; the interval is never narrower than its."""
    points = [(60.0 * i, v / 100.0) for i, v in enumerate(values)]
    rate = robust_rate(points)
    assert rate is not None
    reference: Any = stats.theilslopes(
        [p[1] for p in points], [p[0] for p in points], alpha=0.90
    )
    assert rate.mid == pytest.approx(3600.0 * reference.slope, abs=1e-9)
    if len(set(values)) == len(values):  # scipy corrects the variance for ties
        assert rate.lo <= 3600.0 * reference.low_slope + 1e-9
        assert rate.hi >= 3600.0 * reference.high_slope - 1e-9


def test_too_little_is_no_answer() -> None:
    """Four points, or points at one moment, cannot tell a rate."""
    assert robust_rate([(0.0, 1.0), (60.0, 2.0), (120.0, 3.0), (180.0, 4.0)]) is None
    assert robust_rate([(5.0, float(v)) for v in range(9)]) is None


def _coverage(correlation: float, widened: bool) -> float:
    rng = random.Random(20)
    held = 0
    for _ in range(400):
        noise, points = 0.0, []
        for minute in range(20):
            noise = correlation * noise + rng.gauss(0.0, 0.02)
            points.append((60.0 * minute, -0.03 * minute + noise))
        if widened:
            rate = robust_rate(points)
            assert rate is not None
            held += rate.lo <= -1.8 <= rate.hi
        else:
            lo, hi = sen_interval(pair_slopes(points), len(points), 1.6449)
            held += 3600 * lo <= -1.8 <= 3600 * hi
    return held / 400


def test_interval_allows_for_correlated_residuals() -> None:
    """With residuals that follow one another (0.5) the plain interval is too narrow;
    the widened one holds the true rate about nine times in ten."""
    assert _coverage(0.5, widened=False) < 0.80
    assert _coverage(0.5, widened=True) >= 0.84
    assert 0.87 <= _coverage(0.0, widened=True) <= 0.97


def test_a_flat_series_has_no_correlation() -> None:
    """Residuals that are all the same widen nothing."""
    assert correlation_inflation([0.0] * 9) == 1.0
    assert correlation_inflation([1.0, -1.0] * 5) == 1.0


def test_minute_means_see_through_coarse_steps() -> None:
    """A fall of 1.5 %/h read in steps of 0.1 % shows zero in raw readings over five
    minutes, and its true value in minute means over ten."""
    rng = random.Random(3)
    raw = [
        (float(t), round(20.0 - 1.5 * t / 3600.0 + rng.gauss(0.0, 0.03), 1))
        for t in range(900)
    ]
    short = robust_rate(raw[:100])
    assert short is not None
    assert short.mid == 0.0
    means = [
        (30.0 + 60.0 * m, sum(v for _, v in raw[60 * m : 60 * m + 60]) / 60)
        for m in range(15)
    ]
    rate = robust_rate(means)
    assert rate is not None
    assert rate.mid == pytest.approx(-1.5, abs=0.25)
    assert rate.lo <= -1.5 <= rate.hi
