"""What the temperature says of a change: a burner bends its course, a vent much less.

By its CO2 alone, a burner turned down and a vent opened wide can look alike for hours.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cabinvigil.daemon.air.figures import heat_capacity_j_k
from cabinvigil.daemon.air.zone import AIR_J_MOL_K
from cabinvigil.daemon.review.airflow.heat_balance import HeatBalance
from cabinvigil.daemon.review.airflow.kalman import Course
from cabinvigil.daemon.review.airflow.nodes import Told
from cabinvigil.daemon.review.airflow.oxygen import Oxygen

WINDOW_H = 0.2
"""Slopes are taken over this long before and after a change."""
SKIPPED_NODES = 2
"""Nodes at the change itself, which belong to neither side."""
CAPACITY_LN_SD = 0.6
"""What the cabin's heat capacity may be off by: a third to three times at 90 % (own
judgement)."""
BEND_SD_K_H = 0.5
"""Bends that come without a cause (own judgement)."""
EFFECT_SHARE = 0.3
"""How far off the expected bend may be: radiant heat reaches the sensor differently
(own judgement)."""
MOST_WORTH = 6.0
"""One bend alone decides no more than this, in ln likelihood."""
_GRID = tuple(0.25 * step for step in range(-5, 6))


@dataclass(frozen=True, slots=True)
class Heat:
    """The course of the temperature beside that of CO2."""

    course: Course
    temp_c: Sequence[Told]
    """At the nodes."""
    outside_c: Sequence[Told]
    moles: float
    """Gas that the cabin holds."""
    volume_m3: float
    balance: HeatBalance
    oxygen: Oxygen | None = None
    """None where nobody tells it."""

    def bend_k_h(self, n: int) -> float | None:
        """Return how far the slope of the temperature changes at a node, K/h."""
        before, after = self._slopes(self.temp_c, n)
        return None if before is None or after is None else after - before

    def air_w(self, n: int, s: float) -> float | None:
        """Return the heat of the change of air that CO2 shows, the source being `s`."""
        before, after = self._slopes(self.course.level_ppm, n)
        width = self._width()
        e_before = _mean(self.course.excess_ppm[max(0, n - width) : n])
        e_after = _mean(self.course.excess_ppm[n + 2 : n + 2 + width])
        temp = self.temp_c[n]
        if before is None or after is None or e_before is None or e_after is None:
            return None
        outside = self.outside_c[n]
        if temp is None or outside is None:
            return None
        k_before = max(0.0, (s - before) / max(e_before, 20.0))
        k_after = max(0.0, (s - after) / max(e_after, 20.0))
        lost_w_k = (k_after - k_before) / 3600.0 * self.moles * AIR_J_MOL_K
        return -lost_w_k * (temp - outside)

    def worth(self, bends: Sequence[tuple[float, float]]) -> float:
        """Return ln likelihood of bends (K/h) for the heats (W) that would cause them.

        The cabin's heat capacity is not known; the likeliest is taken.
        """
        if not bends:
            return 0.0
        return max(self._worth_at(ln, bends) for ln in _GRID)

    def _worth_at(self, ln: float, bends: Sequence[tuple[float, float]]) -> float:
        capacity = heat_capacity_j_k(self.volume_m3) * math.exp(ln)
        worth = -0.5 * (ln / CAPACITY_LN_SD) ** 2
        for bend, heat_w in bends:
            expected = 3600.0 * heat_w / capacity
            sd = math.hypot(BEND_SD_K_H, EFFECT_SHARE * expected)
            off = 0.5 * ((bend - expected) / sd) ** 2
            worth -= min(MOST_WORTH, off) + math.log(sd / BEND_SD_K_H)
        return worth

    def _width(self) -> int:
        return max(4, round(WINDOW_H / self.course.step_h))

    def _slopes(self, values: Sequence[Told], n: int) -> tuple[Told, Told]:
        width = self._width()
        after = n + SKIPPED_NODES
        return (
            self._slope(values, n - width, n + 1),
            self._slope(values, after, after + width + 1),
        )

    def _slope(self, values: Sequence[Told], begin: int, end: int) -> Told:
        """Give the straight line's slope per hour; None from fewer than four values."""
        points = [
            (n, one)
            for n in range(max(0, begin), min(len(values), end))
            if (one := values[n]) is not None
        ]
        if len(points) < 4:
            return None
        middle = math.fsum(n for n, _ in points) / len(points)
        up = math.fsum((n - middle) * one for n, one in points)
        return up / math.fsum((n - middle) ** 2 for n, _ in points) / self.course.step_h


def _mean(values: Sequence[Told]) -> Told:
    known = [one for one in values if one is not None]
    return math.fsum(known) / len(known) if known else None
