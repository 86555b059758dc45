"""What oxygen says of the burner: a flame takes more of it for its CO2 than people do.

For each mole of CO2 a propane flame takes 5/3 moles of oxygen and a sleeper 1/0.85, so
the oxygen that is gone, beside the CO2 that is there, tells whose CO2 it is.
"""

import math
from collections.abc import Sequence

from cabinvigil.daemon.air.figures import RESPIRATORY_QUOTIENT
from cabinvigil.daemon.review.airflow.heat_balance import SettingSpan
from cabinvigil.daemon.review.airflow.kalman import Course
from cabinvigil.daemon.review.airflow.nodes import Told, mean

WINDOW_H = 0.2
"""Short against the time in which one's CO2 takes the place of the other's."""
FRESH_DRY_SHARE = 0.2095
PART_SD_PCT, EXCESS_SHARE = 0.025, 0.04
"""Doubt of one window: the oxygen part's wandering, and a share of the CO2 (own
judgement)."""
GAIN_SD = 0.04
"""Of CO2 and oxygen together over the night (SCD4x data sheet: 5 % as three sd; an
oxygen cell's span, unverified)."""
TEMPER = 0.6
"""Windows beside each other are off together (own judgement)."""
MOST_WORTH = 6.0
"""At most what one window costs, in ln likelihood."""
MOST_NIGHT = 40.0
"""Oxygen that no course of settings explains (another gas, a part that drifts) chooses
none."""
LEAST_EXCESS_PPM = 100.0


def per_co2_dry(moles: float) -> float:
    """Return the fall of the dry oxygen for each rise of CO2, by moles of oxygen taken.

    What the gas shrinks by is made up by outdoor air, which brings oxygen.
    """
    return moles - FRESH_DRY_SHARE * (moles - 1.0)


class Oxygen:
    """The night's oxygen, window by window."""

    def __init__(
        self, course: Course, o2_dry_pct: Sequence[Told], flame_o2_per_co2: float
    ) -> None:
        """Take the readings at the nodes.

        Args:
            course: the nodes.
            o2_dry_pct: oxygen, its vapour taken out.
            flame_o2_per_co2: moles that the burner's flame takes for each of CO2.
        """
        self._wide = max(3, round(WINDOW_H / course.step_h))
        self._hours = self._wide * course.step_h
        self._people = per_co2_dry(1.0 / RESPIRATORY_QUOTIENT)
        self._more = per_co2_dry(flame_o2_per_co2) - self._people
        self._windows = [
            (n, mean(o2_dry_pct[n : n + self._wide]), mean(excess))
            for n in range(0, len(o2_dry_pct) - self._wide, self._wide)
            if (excess := course.excess_ppm[n : n + self._wide])
        ]
        known = sorted(one for _, one, _ in self._windows if one is not None)
        self._middle = known[len(known) // 2] if known else 0.0

    def worth(self, spans: Sequence[SettingSpan]) -> float:
        """Return ln likelihood of a course of settings."""
        rows, share = [], spans[0].flame_share
        at = 0
        for n, o2_pct, excess in self._windows:
            while at < len(spans) - 1 and spans[at].end <= n + self._wide // 2:
                at += 1
            span = spans[at]
            if excess is not None:
                came = span.ppm_per_h * self._hours / max(excess, LEAST_EXCESS_PPM)
                here = span.flame_share + (share - span.flame_share) * math.exp(-came)
                share, middle = here, (share + here) / 2.0
                if o2_pct is not None:
                    taken = 1e-4 * excess * (self._people + self._more * middle)
                    sd = math.hypot(PART_SD_PCT, EXCESS_SHARE * 1e-4 * excess)
                    rows.append((o2_pct - self._middle, taken, sd))
        return TEMPER * _worth(rows)


def _worth(rows: Sequence[tuple[float, float, float]]) -> float:
    """Return ln likelihood with the level of fresh air and the gain fitted."""
    weight = x = y = xx = xy = 0.0
    for o2_pct, taken, sd in rows:
        each = 1.0 / sd**2
        weight += each
        x += each * taken
        y += each * o2_pct
        xx += each * taken * taken
        xy += each * taken * o2_pct
    if weight <= 0.0:
        return 0.0
    prior = GAIN_SD**-2
    across = xx - x * x / weight + prior
    gain = (prior - (xy - x * y / weight)) / across
    fresh = (y + gain * x) / weight
    worth = -0.5 * ((gain - 1.0) / GAIN_SD) ** 2
    for o2_pct, taken, sd in rows:
        off = (o2_pct - fresh + gain * taken) / sd
        worth -= min(MOST_WORTH, 0.5 * off * off)
    return max(worth, -MOST_NIGHT)
