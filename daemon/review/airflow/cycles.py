"""A thermostat's cycles, told from the saw-tooth that they leave in the temperature.

A burner that goes on and off by itself does so within minutes, quicker than CO2 parts
follow, so that its CO2 looks like that of some steady flame between its stops.  Warmth
is quicker: it climbs while the burner is lit and falls while it is not, so the swings
tell that it cycles, and the share of the time in which it climbs shows how long it is
lit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from cabinvigil.daemon.review.airflow.nodes import Told, filled

TREND_S = 600.0
"""Swings are looked for about the mean of so long before and after."""
SWING_K = 0.1
"""From the mean up and down again: a thermostat's swing is 0.5 to 2 K (common practice,
no source), a part's noise 0.04 K (SHT4x data sheet, unverified)."""
WINDOW_S = 1800.0
"""Cycles are counted over so long before and after."""
LEAST_PER_H = 6.0
"""Turns up or down: three cycles; doors and lulls turn it less often (own
judgement)."""
LEAST_S = 3600.0
"""What cycles for less than this is somebody at the tap, or a door."""
SHORT_S = 180.0
"""In a cycle shorter than this the part's lag hides which way the warmth goes: the
share of the night that is lit is then hardly known, and of one hour not at all."""
DUTY_SD, SHORT_DUTY_SD = 0.07, 0.15
"""Of the share of the time for which it is lit (own judgement)."""


@dataclass(frozen=True, slots=True)
class Cycles:
    """When a burner cycled, step by step."""

    duty: Sequence[float]
    """Share of the time for which it is lit, over the hour about each step; 0 where
    nothing cycles."""
    period_s: float = 0.0
    """Of one cycle, in the mean; 0 where nothing cycles."""

    @property
    def mean_duty(self) -> float:
        """The night's, while it cycled; 0 if it never did."""
        told = [one for one in self.duty if one > 0.0]
        return math.fsum(told) / len(told) if told else 0.0

    @property
    def duty_sd(self) -> float:
        """What it may be off by."""
        return SHORT_DUTY_SD if self.period_s < SHORT_S else DUTY_SD


class Swing(NamedTuple):
    """What a burner that cycles does to the source at one step."""

    share: float = 1.0
    """Of the night's mean source, by the hour's duty."""
    sd_ppm_per_h: float = 0.0
    """Of the source about that, within the cycle; 0: it does not cycle."""


def cycles_of(temp_c: Sequence[Told], step_s: float) -> Cycles:
    """Find a burner's cycles.

    Args:
        temp_c: inside, evenly spaced.
        step_s: between two.
    """
    count = len(temp_c)
    duty = [0.0] * count
    temps = [one for one in filled(temp_c) if one is not None]
    if len(temps) < max(count, LEAST_S / step_s):
        return Cycles(duty)
    turns = _turns(temps, round(TREND_S / step_s))
    wide = round(WINDOW_S / step_s)
    sums, climbs = [0], [0]
    for n in range(count):
        after = temps[min(n + 1, count - 1)]
        sums.append(sums[-1] + turns[n])
        climbs.append(climbs[-1] + (after > temps[n]))
    runs = [
        _trimmed(run, turns, TREND_S / step_s * 2.0)
        for run in _runs(sums, count, wide, step_s)
    ]
    if not runs:
        return Cycles(duty)
    steps = sum(end - begin for begin, end in runs)
    period_s = 2.0 * step_s * steps / sum(sums[b] - sums[a] for a, b in runs)
    for begin, end in runs:
        for n in range(begin, end):
            a, b = max(begin, n - wide), min(end, n + wide)
            if period_s < SHORT_S:
                a, b = begin, end
            duty[n] = max((climbs[b] - climbs[a]) / (b - a), 1e-3)
    return Cycles(duty, period_s)


def _turns(temps: Sequence[float], wide: int) -> list[bool]:
    """Tell at which steps the swing about the mean goes from one side to the other."""
    sums = [0.0]
    for one in temps:
        sums.append(sums[-1] + one)
    turns, side, count = [], 0, len(temps)
    for n, one in enumerate(temps):
        a, b = max(0, n - wide), min(count, n + wide + 1)
        off = one - (sums[b] - sums[a]) / (b - a)
        now = side if abs(off) < SWING_K else (1 if off > 0.0 else -1)
        turns.append(now != side and side != 0)
        side = now
    return turns


def _runs(
    sums: Sequence[int], count: int, wide: int, step_s: float
) -> list[tuple[int, int]]:
    """Return the stretches with turns enough in the hour about each of their steps."""
    runs: list[tuple[int, int]] = []
    begin = None
    for n in range(count + 1):
        a, b = max(0, n - wide), min(count, n + wide)
        per_h = (sums[b] - sums[a]) / max(b - a, 1) * 3600.0 / step_s
        does = n < count and per_h >= LEAST_PER_H
        if does and begin is None:
            begin = n
        elif not does and begin is not None:
            runs.append((begin, n))
            begin = None
    return [run for run in runs if (run[1] - run[0]) * step_s >= LEAST_S]


def _trimmed(
    run: tuple[int, int], turns: Sequence[bool], most: float
) -> tuple[int, int]:
    """Leave out what is far before the first turn, or after the last."""
    at = [n for n in range(*run) if turns[n]]
    begin, end = run
    return (
        at[0] if at[0] - begin > most else begin,
        at[-1] + 1 if end - at[-1] > most else end,
    )
