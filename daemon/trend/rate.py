"""The rate at which a series rises or falls, by Sen's median of slopes.

Least squares is dragged by one wild point and by a recovery inside its window; the
median of all slopes between pairs is not.  Hand it means of about a minute: on a
sensor with coarse steps most pairs of raw readings are equal, and the median of their
slopes locks at zero.

Sources: P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379 for slope and interval;
K. H. Hamed and A. R. Rao, J. Hydrology 204 (1998) 182 for the widening when residuals
follow one another (both unverified).
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

Z_90 = 1.6449
"""Normal score that leaves 5 % on each side (any table of the normal law)."""
MIN_POINTS = 5
"""With fewer points Sen's 90 % interval reaches past the outermost slopes."""
MAX_LAG_CORRELATION = 0.8
"""A short window cannot tell stronger correlation from a trend."""
S_PER_H = 3600.0


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate of change per hour, with its 5, 50 and 95 % points."""

    lo: float
    mid: float
    hi: float


def pair_slopes(points: Sequence[tuple[float, float]]) -> list[float]:
    """List the slopes between all pairs of points, sorted, in value per second.

    Pairs at the same time have no slope and are left out.
    """
    slopes = []
    for i, (t_i, v_i) in enumerate(points):
        for t_j, v_j in points[i + 1 :]:
            if t_j != t_i:
                slopes.append((v_j - v_i) / (t_j - t_i))
    slopes.sort()
    return slopes


def median(ordered: Sequence[float]) -> float:
    """Return the middle of an ordered, non-empty sequence."""
    half = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[half]
    return 0.5 * (ordered[half - 1] + ordered[half])


def sen_interval(
    slopes: Sequence[float], count: int, z: float, inflation: float = 1.0
) -> tuple[float, float]:
    """Return Sen's interval from ordered slopes of `count` points.

    Args:
        slopes: ordered slopes between pairs.
        count: number of points they come from.
        z: normal score of the wanted confidence (two-sided).
        inflation: how many times the variance of Kendall's sum exceeds that of
            independent points.
    """
    variance = inflation * count * (count - 1) * (2 * count + 5) / 18.0
    spread = z * math.sqrt(variance)
    # Ranks are rounded outwards: an interval may be too wide, never too narrow.
    low = math.floor((len(slopes) - spread) / 2.0) - 1
    high = math.ceil((len(slopes) + spread) / 2.0)
    return slopes[max(0, low)], slopes[min(len(slopes) - 1, high)]


def correlation_inflation(residuals: Sequence[float]) -> float:
    """Return how many times correlated residuals widen the variance; 1 or more.

    First-order form: (1 + r) / (1 - r) with r the correlation of neighbours, its
    small-sample bias of about (1 + 4 r) / n put back (Kendall 1954, unverified).
    """
    count = len(residuals)
    mean = math.fsum(residuals) / count
    total = math.fsum((r - mean) ** 2 for r in residuals)
    if total <= 0.0:
        return 1.0
    pairs = itertools.pairwise(residuals)
    r_1 = math.fsum((a - mean) * (b - mean) for a, b in pairs) / total
    r_1 += (1.0 + 4.0 * r_1) / count
    r_1 = min(max(r_1, 0.0), MAX_LAG_CORRELATION)
    return (1.0 + r_1) / (1.0 - r_1)


def robust_rate(points: Sequence[tuple[float, float]], z: float = Z_90) -> Rate | None:
    """Return the rate of change of a series of means of about a minute.

    Args:
        points: (time in s, value), in any even or uneven spacing.
        z: normal score of the interval; the default gives the 5 and 95 % points.

    Returns:
        The rate per hour; None where fewer than five points, or all at one time,
        cannot tell.
    """
    if len(points) < MIN_POINTS:
        return None
    slopes = pair_slopes(points)
    if len(slopes) < MIN_POINTS:
        return None
    mid = median(slopes)
    residuals = [value - mid * time_s for time_s, value in points]
    inflation = correlation_inflation(residuals)
    lo, hi = sen_interval(slopes, len(points), z, inflation)
    return Rate(min(lo, mid) * S_PER_H, mid * S_PER_H, max(hi, mid) * S_PER_H)
