"""The carbon that a night's air held: as CO2 parts told it, and beyond their range.

A CO2 part that is at the end of its range, or tells nothing there, leaves the hours of
the worst air dark.  The oxygen part goes on: what burns and breathes takes oxygen in a
known proportion to the CO2 that it gives, and the night's own readings, where both
parts told, fix fresh air's oxygen and that proportion.  So CO2 beyond the range is told
from the oxygen that is gone, with the doubt of that proportion.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.review.airflow.nodes import Told
from cabinvigil.daemon.review.inside import Inside

STILL_STEPS = 12
"""A live CO2 part flickers: means of half a minute that are the same for six minutes
come from a part that stands still (SCD4x noise 3 ppm and more, sensors.md 1)."""
NEAR_THE_MOST = 0.9
"""Of the highest CO2 that was told: with less of it, what is missing has been lost, not
hidden by the end of a range (our choice)."""
FRESH_PCT = (20.95, 0.1)
"""Dry oxygen of fresh air, and a part's class after its span (sensors.md), as an sd."""
SHARE_SD = 0.08
"""Of oxygen for each CO2: a flame takes 1.53 for one, people 1.14; who gives how much
of it is known to a part (own judgement)."""
OTHER_SHARE = 0.05
"""What the proportion beyond the range may differ from that within it: the flame's part
in the CO2 grows as it climbs (own judgement)."""
PART_PCT, EXCESS_SHARE = 0.03, 0.04
"""Doubt of one step: what the oxygen part wanders, and a share of the CO2 (own
judgement)."""
ALIKE_STEPS = 60
"""Steps that are off together: half an hour's tell as much as one (own judgement)."""
MOST_CHI2 = 4.0
"""Oxygen that follows CO2 worse than this, squared and by its doubt, goes to another
gas, or from a part that fails; nothing is told from it."""
MOST_SHARE = 0.4
"""Of the excess: CO2 that is not known better is not told (our choice)."""


@dataclass(frozen=True, slots=True)
class Carbon:
    """CO2 with CO, step by step."""

    told_ppm: list[Told]
    """By the parts."""
    beyond_ppm: list[Told]
    """From oxygen, where the parts' range ended."""
    doubt: list[float]
    """Of the latter's excess over outdoors, as a share; 0 elsewhere."""
    full: Mapping[int, float]
    """Steps at the end of the range that oxygen does not tell either, and that end."""


def carbon_of(
    tape: NightSeries, air: Inside, outdoor_ppm: float, o2_per_co2: float
) -> Carbon:
    """Gather the night's carbon.

    Args:
        tape: the night.
        air: inside.
        outdoor_ppm: CO2 outdoors.
        o2_per_co2: what the dry oxygen falls by for each CO2, at a guess.
    """
    full, told = _full(tape), _told(tape)
    found = _beyond(told, dry_o2_pct(tape, air), full, outdoor_ppm, o2_per_co2)
    beyond: list[Told] = [None] * len(told)
    doubt = [0.0] * len(told)
    for n, (ppm, share) in found.items():
        beyond[n], doubt[n] = ppm, share
    hidden = {n: end for n, end in full.items() if n not in found}
    return Carbon(told, beyond, doubt, hidden)


def dry_o2_pct(tape: NightSeries, air: Inside) -> list[Told]:
    """Take the vapour out of oxygen."""
    return [
        None
        if o2 is None or vapour is None
        else o2 / (1.0 - min(vapour / air.pressure_hpa, 0.5))
        for o2, vapour in zip(
            tape.worst("o2_pct", "below", ""), air.vapour_hpa, strict=True
        )
    ]


def _told(tape: NightSeries) -> list[Told]:
    """Return CO2 with CO; nothing where the part was at full scale or stood still."""
    co2, co = tape.worst("co2_ppm", "above", ""), tape.worst("co_ppm", "above", "")
    full = _full(tape)
    carbon: list[Told] = [
        None if one is None or n in full else one + max(0.0, other or 0.0)
        for n, (one, other) in enumerate(zip(co2, co, strict=True))
    ]
    for begin, end in still(co2):
        carbon[begin:end] = [None] * (end - begin)
    return carbon


def _full(tape: NightSeries) -> dict[int, float]:
    """Give the steps at which a CO2 part was at the end of its range, and that end."""
    co2 = tape.worst("co2_ppm", "above", "")
    steps: set[int] = set()
    for key in tape.keys("co2_ppm", ""):
        steps |= tape.at_least.get(key, frozenset())
    return {n: co2[n] or 0.0 for n in steps if n < len(co2)}


def still(values: Sequence[Told]) -> list[tuple[int, int]]:
    """Find the stretches over which a series stands still."""
    found, begin = [], 0
    for n in range(1, len(values) + 1):
        if n < len(values) and values[n] == values[begin]:
            continue
        if n - begin >= STILL_STEPS and values[begin] is not None:
            found.append((begin, n))
        begin = n
    return found


def _beyond(
    told: Sequence[Told],
    o2_pct: Sequence[Told],
    full: Mapping[int, float],
    outdoor_ppm: float,
    o2_per_co2: float,
) -> dict[int, tuple[float, float]]:
    """Return CO2 where its parts' range had ended, and the doubt as a share."""
    line = _line(told, o2_pct, outdoor_ppm, o2_per_co2)
    if line is None:
        return {}
    fresh, slope, (var_fresh, var_slope, both) = line
    least = NEAR_THE_MOST * max(one for one in told if one is not None)
    found = {}
    for n, (ppm, o2) in enumerate(zip(told, o2_pct, strict=True)):
        if ppm is not None or o2 is None:
            continue
        excess = (fresh - o2) / slope
        if outdoor_ppm + excess < max(least, NEAR_THE_MOST * full.get(n, 0.0)):
            continue
        var = var_fresh + excess**2 * var_slope - 2.0 * excess * both
        doubt = math.hypot(math.sqrt(max(var, 0.0)), PART_PCT) / slope / excess
        doubt = math.hypot(doubt, OTHER_SHARE)
        if doubt <= MOST_SHARE:
            found[n] = outdoor_ppm + excess, doubt
    return found


_Doubt = tuple[float, float, float]


def _line(
    told: Sequence[Told], o2_pct: Sequence[Told], outdoor_ppm: float, per_co2: float
) -> tuple[float, float, _Doubt] | None:
    """Fit fresh oxygen and its fall, percent for each ppm, where both were told.

    Returns:
        Both, and their variances and covariance; None where they do not go together.
    """
    per_ppm = 1e-4 * per_co2
    fresh_w, slope_w = FRESH_PCT[1] ** -2, (SHARE_SD * per_ppm) ** -2
    a, b, c = fresh_w, 0.0, slope_w
    p, q = fresh_w * FRESH_PCT[0], -slope_w * per_ppm
    rows = []
    for ppm, o2 in zip(told, o2_pct, strict=True):
        if ppm is not None and o2 is not None:
            excess = ppm - outdoor_ppm
            sd = math.hypot(PART_PCT, EXCESS_SHARE * per_ppm * excess)
            each = 1.0 / (sd * sd * ALIKE_STEPS)
            a, b, c = a + each, b + each * excess, c + each * excess * excess
            p, q = p + each * o2, q + each * o2 * excess
            rows.append((excess, o2, sd))
    whole = a * c - b * b
    if not rows or whole <= 0.0:
        return None
    fresh, slope = (p * c - q * b) / whole, (b * p - a * q) / whole
    off = math.fsum(((o2 - fresh + slope * x) / sd) ** 2 for x, o2, sd in rows)
    if off > MOST_CHI2 * len(rows) or not 0.5 * per_ppm < slope < 2.0 * per_ppm:
        return None
    return fresh, slope, (c / whole, a / whole, b / whole)
