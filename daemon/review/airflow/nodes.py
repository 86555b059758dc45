"""From a night's readings to the nodes that the balance is judged at."""

import math
from collections.abc import Sequence

from cabinvigil.daemon.air.atmosphere import ZERO_C_K
from cabinvigil.daemon.review.airflow.kalman import Course

REFERENCE_C = 20.0
"""Sources are told in ppm of the cabin's air at this temperature."""
MADE_PER_CO2 = 0.8
"""Moles of gas that a source adds for each mole of CO2, which thin it: 2/3 for burning
propane (5 O2 go, 3 CO2 and 4 H2O come, and the gas itself), more for people, whose
water partly settles; it matters beyond some percent of CO2 only."""
LEAST_SD_PPM = 2.0
LEAST_SD_SHARE = 0.0005
"""Air is never so well mixed that a part tells its mean better (own judgement)."""
NOISE_H = 0.5
"""Noise is taken over this long and its neighbours, as it grows with the reading."""
LAG_SD_S = 8.0
"""What the lag of part and cabin may be off by: air mixes in a minute or two (own
judgement)."""
BRIDGED_NODES = 2
"""A hole in the readings up to this long is bridged by a straight line."""
MEDIAN_SD = 0.6745
"""The median of |x| in standard deviations of a normal x."""

Told = float | None


def mean(values: Sequence[Told]) -> Told:
    """Return the mean of what is told; None where nothing is."""
    known = [one for one in values if one is not None]
    return math.fsum(known) / len(known) if known else None


def undelayed(values: Sequence[Told], lag: float) -> list[Told]:
    """Take a first-order lag out.

    Args:
        values: evenly spaced.
        lag: to 63 % of a step, in steps of the values.
    """
    last = len(values) - 1
    out: list[Told] = []
    for n, one in enumerate(values):
        before, after = max(0, n - 1), min(last, n + 1)
        a, b = values[before], values[after]
        if one is not None and a is not None and b is not None and after > before:
            one += lag * (b - a) / (after - before)
        out.append(one)
    return out


def course_of(
    fine_ppm: Sequence[Told],
    temp_c: Sequence[Told],
    each: int,
    fine_s: float,
    outdoor_ppm: float,
) -> Course:
    """Gather nodes and the means between them.

    Args:
        fine_ppm: evenly spaced levels, undelayed.
        temp_c: of the cabin, at the same moments.
        each: fine steps to a node.
        fine_s: the fine step.
        outdoor_ppm: outdoors.
    """
    count, half = len(fine_ppm) // each, max(1, each // 4)
    levels = [_level(fine_ppm, n * each, half) for n in range(count)]
    between = _bridged(
        [mean(fine_ppm[n * each : (n + 1) * each]) for n in range(count)]
    )
    temps = filled([mean(temp_c[n * each : (n + 1) * each]) for n in range(count)])
    weight = [
        (ZERO_C_K + (REFERENCE_C if temp is None else temp))
        / (ZERO_C_K + REFERENCE_C)
        * (1.0 - MADE_PER_CO2 * 1e-6 * (level or 0.0))
        for temp, level in zip(temps, between, strict=True)
    ]
    excess = [None if one is None else one - outdoor_ppm for one in between]
    step_h = each * fine_s / 3600.0
    return Course(
        step_h, levels, _level_sds(fine_ppm, levels, each, step_h), excess, weight
    )


def _level(fine_ppm: Sequence[Told], at: int, half: int) -> Told:
    """Return the level at a moment from both sides of it; None at the end of a hole.

    One side alone is the level of a moment beside it, and a lag is not undone there:
    from a burner's first minutes the source would come out a tenth wrong.
    """
    before, after = (
        mean(fine_ppm[max(0, at - half) : at]),
        mean(fine_ppm[at : at + half]),
    )
    return None if before is None or after is None else (before + after) / 2.0


def _level_sds(
    fine_ppm: Sequence[Told], levels: Sequence[Told], each: int, step_h: float
) -> list[float]:
    """Tell the noise of each level: of the readings about it, and of an unknown lag."""
    count, wide = len(levels), max(1, round(NOISE_H / step_h))
    blocks = [
        noise_sd(fine_ppm[max(0, begin - wide) * each : (begin + 2 * wide) * each])
        for begin in range(0, count, wide)
    ]
    last, sds = count - 1, []
    for n in range(count):
        a, b = levels[max(0, n - 1)], levels[min(last, n + 1)]
        slope = 0.0 if a is None or b is None else (b - a) / (2.0 * step_h)
        sds.append(math.hypot(blocks[n // wide], LAG_SD_S / 3600.0 * slope))
    return sds


def filled(values: Sequence[Told]) -> list[Told]:
    """Hold the last value through holes; the first through the beginning."""
    last = next((one for one in values if one is not None), None)
    held = []
    for one in values:
        last = last if one is None else one
        held.append(last)
    return held


def _bridged(values: list[Told]) -> list[Told]:
    """Fill short holes by straight lines."""
    bridged, last = list(values), -1
    for n, after in enumerate(values):
        if after is None:
            continue
        before = values[last] if last >= 0 else None
        if before is not None and 1 < n - last <= BRIDGED_NODES + 1:
            for m in range(last + 1, n):
                bridged[m] = before + (after - before) * (m - last) / (n - last)
        last = n
    return bridged


def noise_sd(values: Sequence[Told]) -> float:
    """Report the noise of a series from the median of its second differences."""
    bends = sorted(
        abs(a - 2.0 * b + c)
        for a, b, c in zip(values, values[1:], values[2:], strict=False)
        if a is not None and b is not None and c is not None
    )
    known = sorted(one for one in values if one is not None)
    least = LEAST_SD_PPM + LEAST_SD_SHARE * (known[len(known) // 2] if known else 0.0)
    if not bends:
        return least
    # a second difference of white noise has sqrt(1 + 4 + 1) times its sd
    return max(bends[len(bends) // 2] / MEDIAN_SD / math.sqrt(6.0), least)
