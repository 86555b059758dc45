"""Does CO2 explain the O2 that went?  If not, another gas fills the cabin, or one lies.

Over windows of a few minutes the fall of O2 is set against the rise of CO2 times the
most that burning and breathing can take, and against what vapour and pressure did.
"""

import math
from dataclasses import dataclass

from cabinvigil.daemon.air.figures import (
    LEAST_O2_PER_CO2,
    MOST_O2_PER_CO2,
    MOST_O2_PER_CO2_WET,
)
from cabinvigil.daemon.trend.line import PCT_PER_PPM, RatioLine

MOST_RATIO = MOST_O2_PER_CO2 * PCT_PER_PPM
MOST_RATIO_WET = MOST_O2_PER_CO2_WET * PCT_PER_PPM
LEAST_RATIO = LEAST_O2_PER_CO2 * PCT_PER_PPM
"""Sleepers take 1.16 on a dry basis (quotient 0.83); 20 % off for gain errors."""
UNSEEN_VAPOUR_PCT = 0.2
"""A kettle may push out so much O2 where nobody measures humidity (1 % vapour)."""
KEPT = 16
"""Minutes kept."""
WINDOWS = (3, 6, 12)
"""Minutes over which a fall is judged: a burst, a leak, a slow leak."""


@dataclass(frozen=True, slots=True)
class Minute:
    """Means of one minute."""

    o2_pct: float
    """As breathed."""
    co2_ppm: float
    vapour: float | None
    """Share of the air that is water vapour; None where nobody measures it."""
    pressure_hpa: float | None
    off_pct: float = 0.0
    """So far O2 may have moved though the air did not: its cell warmed, or settled."""


@dataclass(frozen=True, slots=True)
class Unexplained:
    """O2 that went without a reason."""

    o2_pct: float
    z: float


NOTHING = Unexplained(0.0, 0.0)


def _between(then: Minute, now: Minute, noise_pct: float, ppm: float) -> Unexplained:
    fall, ratio, unseen = then.o2_pct - now.o2_pct, MOST_RATIO, 0.0
    if then.vapour is None or now.vapour is None:
        ratio, unseen = MOST_RATIO_WET, UNSEEN_VAPOUR_PCT
    else:
        fall = then.o2_pct / (1.0 - then.vapour) - now.o2_pct / (1.0 - now.vapour)
    if then.pressure_hpa and now.pressure_hpa:
        # A cell reads partial pressure: what the pressure did may be all of it.
        change = 1.0 - now.pressure_hpa / then.pressure_hpa
        fall -= max(0.0, then.o2_pct * change)
    fall -= ratio * max(0.0, now.co2_ppm - then.co2_ppm) + unseen
    fall -= max(then.off_pct, now.off_pct)
    spread = math.sqrt(2.0) * math.hypot(noise_pct, ratio * ppm, 0.01)
    return Unexplained(fall, fall / spread)


def unexplained(
    minutes: tuple[Minute, ...], noise_pct: float, noise_ppm: float
) -> Unexplained:
    """Return the most telling fall of O2 that nothing explains.

    Args:
        minutes: means of the last minutes, oldest first.
        noise_pct: standard deviation of a minute's mean of O2.
        noise_ppm: the same of CO2.
    """
    worst = NOTHING
    for window in WINDOWS:
        if len(minutes) > window:
            # Two minutes on each side: one slow or early sensor explains nothing.
            for late in (1, 2):
                if len(minutes) <= window + late - 1:
                    break
                found = _between(
                    minutes[-window - late], minutes[-late], noise_pct, noise_ppm
                )
                if late == 1:
                    latest = found
                elif min(latest.z, found.z) > worst.z:
                    worst = min(latest, found, key=lambda u: u.z)
    return worst


def ratio_z(line: RatioLine, wet: bool) -> float:
    """Return how many standard deviations the ratio lies outside what can be."""
    most = MOST_RATIO_WET if wet else MOST_RATIO
    beyond = max(line.ratio - most, LEAST_RATIO - line.ratio, 0.0)
    return beyond / math.sqrt(line.var_ratio + 1e-16)
