"""From what the bank believes to what will be, if nothing changes.

Given ventilation and source the excess runs along one exponential, so a crossing
within a horizon is a question about its two ends, answered for each part of the bank.
The intervals come from a fixed spread of points through the whole belief: nothing here
draws at random, the same night gives the same figures.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT
from cabinvigil.daemon.air.figures import FLAME_OUT_O2_PCT
from cabinvigil.daemon.trend.bank import Component
from cabinvigil.daemon.trend.line import RatioLine
from cabinvigil.daemon.trend.model import (
    Crossing,
    CrossingQuery,
    MinutesTriple,
    TrendEstimate,
    Triple,
    View,
)

Believed = Sequence[tuple[float, Component]]
"""Parts with their ventilation in 1/s."""

POINTS = 120
"""Points of the spread: the 5 % point then rests on six of them."""
NEGLIGIBLE = 3e-4
"""Parts below this weight move no figure that is told."""
LONGEST_MIN = 1440.0
"""A crossing later than a day is no crossing: nothing lasts so long unchanged."""
CELL_SD_PCT = 0.035
"""An O2 cell's span is not better known than this after a fresh-air span (our choice,
a third of a good cell's accuracy): nothing read later can correct it."""
COMING_RATIO_SD = 0.2
"""The next CO2 need not take as much O2 as the last did: vapour settles, a sleeper
goes, a flame changes (share of the ratio, from the benchmark's tuning nights)."""
WITHIN = 1.2
"""Each hypothesis of ventilation stands for its own cell and a little more, for the
true value is never one of them (tuned: with 0.9 the interval held 77 % of the truths,
with 1.4 96 %)."""
ROOT_HALF = math.sqrt(0.5)


def weighty(parts: Believed) -> tuple[tuple[float, Component], ...]:
    """Leave out the parts that move no figure, and weigh the rest to 1."""
    kept = [item for item in parts if item[1][0] >= NEGLIGIBLE]
    total = math.fsum([part[0] for _, part in kept])
    return tuple([(k, (part[0] / total, *part[1:])) for k, part in kept])


def answer(ask: CrossingQuery, views: Sequence[View]) -> float:
    """Give the probability of one crossing: the highest of the banks that are asked."""
    found = 0.0
    for view in views:
        if ask.quantity == "o2_pct":
            p = below_probability(view.parts, view.line, ask.limit, ask.horizon_s)
        elif view.reads_co2:
            excess_ppm = ask.limit - view.outdoor_co2_ppm
            p = above_probability(view.parts, excess_ppm, ask.horizon_s)
        else:
            continue
        found = max(found, p)
    return found


def crossing(estimate: TrendEstimate, ask: CrossingQuery) -> Crossing | None:
    """Answer a question of an estimate, one that was asked beforehand or any other.

    Of any other nobody knows how it stood before.

    Returns:
        None where nothing measures what is asked.
    """
    if ask.quantity == "co2_ppm" and estimate.co2_ppm is None:
        return None
    for found in estimate.crossings:
        known = found.ask
        if (known.quantity, known.limit, known.horizon_s, known.side) == (
            ask.quantity,
            ask.limit,
            ask.horizon_s,
            ask.side,
        ):
            return found
    if not estimate.belief:
        return None
    chance = answer(ask, estimate.belief)
    return Crossing(ask, chance, chance)


def probability(estimate: TrendEstimate, ask: CrossingQuery) -> float | None:
    """Return the probability alone; None where nothing measures what is asked."""
    found = crossing(estimate, ask)
    return None if found is None else found.probability


def below_probability(
    parts: Believed, line: RatioLine, limit_pct: float, horizon_s: float
) -> float:
    """Return the probability that O2 is at or below a limit within a horizon."""
    level, ratio = line.level_pct, line.ratio
    v_level, cov, v_ratio = line.var_level, 2.0 * line.cov, line.var_ratio
    erfc, r_2 = math.erfc, ratio * ratio
    total = 0.0
    for k, (w, _, c, s, _z, cc, cs, _cz, ss, _sz, _zz) in parts:
        e = math.exp(-k * horizon_s)
        b = (1.0 - e) / k
        end = e * c + b * s
        if end > c:
            var = r_2 * (e * e * cc + 2.0 * e * b * cs + b * b * ss)
        else:  # the air clears: the worst is now
            end, var = c, r_2 * cc
        var += v_level - cov * end + v_ratio * end * end
        over = (level - ratio * end - limit_pct) * ROOT_HALF
        total += w * 0.5 * erfc(over / math.sqrt(var + 1e-12))
    return min(1.0, max(0.0, total))


def above_probability(parts: Believed, excess_ppm: float, horizon_s: float) -> float:
    """Return the probability that the excess reaches a limit within a horizon."""
    total = 0.0
    for k, (w, _, c, s, _z, cc, cs, _cz, ss, _sz, _zz) in parts:
        e = math.exp(-k * horizon_s)
        b = (1.0 - e) / k
        end, var = e * c + b * s, e * e * cc + 2.0 * e * b * cs + b * b * ss
        if end < c:
            end, var = c, cc
        over = (excess_ppm - end) * ROOT_HALF
        total += w * 0.5 * math.erfc(over / math.sqrt(var + 1e-12))
    return min(1.0, max(0.0, total))


@dataclass(frozen=True, slots=True)
class Point:
    """One possible present."""

    k_per_s: float
    excess_ppm: float
    source_ppm_s: float
    o2_pct: float
    ratio: float
    """O2 that goes for each CO2 from now on."""
    least_pct: float = 0.0
    """O2 at which what takes it goes out; 0: nobody knows what takes it."""

    def o2_rate_per_h(self) -> float:
        """Return the rate of O2 in % an hour."""
        return -self.ratio * self.co2_rate_per_h()

    def co2_rate_per_h(self) -> float:
        """Return the rate of CO2 in ppm an hour."""
        return 3600.0 * (self.source_ppm_s - self.k_per_s * self.excess_ppm)

    def settles_pct(self) -> float:
        """Return the level to which O2 tends, within what air can do.

        Outdoor air brings it to 20.95 % at the most, and a flame only to where it dies.
        """
        to_come = self.source_ppm_s / self.k_per_s - self.excess_ppm
        tends = self.o2_pct - self.ratio * to_come
        return min(O2_DRY_PCT, max(self.least_pct, tends))

    def ends_ppm(self) -> float:
        """Return the excess to which CO2 tends: it climbs no longer than the flame."""
        room_pct = max(0.0, self.o2_pct - self.least_pct)
        at_most = self.excess_ppm + room_pct / self.ratio
        return min(self.source_ppm_s / self.k_per_s, at_most)

    def minutes_to_o2(self, limit_pct: float) -> float:
        """Return the minutes until O2 is down to a limit."""
        gap_pct = self.o2_pct - limit_pct
        return self.minutes_to(self.excess_ppm + gap_pct / self.ratio)

    def minutes_to(self, excess_ppm: float) -> float:
        """Give the minutes until an excess is reached; infinite where it levels off."""
        if self.excess_ppm >= excess_ppm:
            return 0.0
        if self.ends_ppm() <= excess_ppm:
            return math.inf
        end = self.source_ppm_s / self.k_per_s
        passed = (end - excess_ppm) / (end - self.excess_ppm)
        minutes = -math.log(passed) / self.k_per_s / 60.0
        return minutes if minutes <= LONGEST_MIN else math.inf


def _normals(index: int, turn: float, step: float) -> tuple[float, float]:
    """Return two scores of an even spread over the normal law (Box and Muller 1958)."""
    radius = math.sqrt(-2.0 * math.log(1.0 - (index * step + 0.5 * step) % 1.0))
    angle = 2.0 * math.pi * ((index * turn) % 1.0)
    return radius * math.cos(angle), radius * math.sin(angle)


def _scores(index: int) -> tuple[float, float, float, float, float, float, float]:
    """Return the five normal scores of one point, and two even ones.

    The even ones: its place within a cell, and among the ends that a flame may find.
    """
    # Turns and steps: irrational or coprime, so that no two scores keep pace.
    return (
        *_normals(index, 0.618034, 37.0 / POINTS),
        *_normals(index, 0.754878, 53.0 / POINTS),
        _normals(index, 0.324718, 71.0 / POINTS)[0],
        (index * 0.569840) % 1.0 - 0.5,
        (index * 0.438579) % 1.0,
    )


SCORES = tuple(_scores(index) for index in range(POINTS))


def flame_ends_pct(o2_pct: float, share: float) -> float:
    """Return one of the levels of O2 at which a flame that burns now may go out.

    Args:
        o2_pct: O2 now.
        share: which of them, from 0 (the lowest) to 1.

    Returns:
        0 below all that were seen: then it is no flame that takes the oxygen.
    """
    low, middle, high = FLAME_OUT_O2_PCT
    if o2_pct <= low:
        return 0.0
    at = 2.0 * share
    ends = (
        low + at * (middle - low) if at < 1.0 else middle + (at - 1.0) * (high - middle)
    )
    # It burns still: what lies above the oxygen now it has passed.
    return low + (ends - low) * min(1.0, (o2_pct - low) / (high - low))


def spread(
    parts: Believed, line: RatioLine, spacing: float, is_flame: bool = False
) -> list[Point]:
    """Spread points of equal weight through the whole belief.

    Args:
        parts: weights together 1, ordered by ventilation within each lag.
        line: from excess to O2.
        spacing: logarithm of the ratio between neighbouring hypotheses of
            ventilation, over which each stands for all values in between.
        is_flame: whether what takes the oxygen is burning or breathing; another gas
            may push it out to the last.
    """
    points = []
    upto, index = 0.0, 0
    cov_share = line.cov / line.var_ratio if line.var_ratio > 0.0 else 0.0
    rest = math.sqrt(max(0.0, line.var_level - cov_share * line.cov) + CELL_SD_PCT**2)
    sd_ratio = math.sqrt(line.var_ratio)
    for k, (w, _, c, s, _z, cc, cs, _cz, ss, _sz, _zz) in parts:
        upto += w
        sd_c = math.sqrt(max(cc, 1e-9))
        sd_s = math.sqrt(max(ss - cs * cs / max(cc, 1e-9), 0.0))
        while index < POINTS and (index + 0.5) / POINTS <= upto:
            n_1, n_2, n_3, n_4, n_5, place, share = SCORES[index]
            here = k * math.exp(spacing * WITHIN * place)
            excess = c + sd_c * n_1
            source = s + cs / sd_c * n_1 + sd_s * n_2 + (here - k) * excess
            off = sd_ratio * n_3
            level = line.level_pct + cov_share * off + rest * n_4
            o2 = level - (line.ratio + off) * excess
            coming = (line.ratio + off) * (1.0 + COMING_RATIO_SD * n_5)
            least = flame_ends_pct(o2, share) if is_flame else 0.0
            points.append(Point(here, excess, source, o2, coming, least))
            index += 1
    return points


def triple(values: list[float]) -> Triple:
    """Return the 5, 50 and 95 % points of equally weighted values."""
    ordered = sorted(values)
    last = len(ordered) - 1
    low, mid, high = (ordered[round(q * last)] for q in (0.05, 0.5, 0.95))
    return low, mid, high


def minutes_triple(values: list[float]) -> MinutesTriple | None:
    """Return the same of minutes; None for what levels off first."""
    low, mid, high = (None if math.isinf(v) else v for v in triple(values))
    return None if low is None else (low, mid, high)
