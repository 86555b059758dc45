"""The air inside, put together from what the parts told: warmth, vapour, glass."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cabinvigil.daemon.air.moisture import (
    dew_point_of_hpa,
    saturation_hpa,
    surface_c,
    vapour_hpa,
)
from cabinvigil.daemon.log.night import STEP_S, NightSeries, Told
from cabinvigil.daemon.review.cabin_facts import CabinFacts

LEAST_RH_PCT = 0.1
LEAST_HPA, MOST_HPA = 300.0, 1100.0


@dataclass(frozen=True, slots=True)
class Inside:
    """Step by step; None where nobody tells."""

    temp_c: Sequence[Told]
    vapour_hpa: Sequence[Told]
    glass_c: Sequence[Told]
    """The coldest pane's inner face, measured or worked out."""
    outside_c: Sequence[Told]
    outside_hpa: Sequence[Told]
    """Vapour outdoors."""
    pressure_hpa: float
    glass_is_measured: bool
    outside_is_measured: bool

    @property
    def wet(self) -> list[bool | None]:
        """Whether vapour settles on the glass."""
        return [
            None if glass is None or vapour is None else vapour >= saturation_hpa(glass)
            for glass, vapour in zip(self.glass_c, self.vapour_hpa, strict=True)
        ]

    def dew_point_c(self, each: int = 1) -> list[Told]:
        """Return the dew point, of every so many steps."""
        return [
            dew_point_of_hpa(one) if one is not None and one > 0.0 else None
            for one in self.vapour_hpa[::each]
        ]


def inside(tape: NightSeries, facts: CabinFacts) -> Inside:
    """Put the inside air together.

    Parts warm themselves and never cool themselves, so the coolest of several tells the
    air; the vapour's pressure does not depend on how warm the part is, so theirs are
    averaged, each worked out at its own temperature.
    """
    temp_c = _coolest([tape.series[key] for key in tape.keys("temp_c", "")], tape.count)
    vapours = [
        _vapour(tape.series[humid], tape.series.get(_fellow(humid), temp_c))
        for humid in tape.keys("rh_pct", "")
    ]
    outside_c = tape.worst("temp_c", "below", "outside")
    is_measured = any(one is not None for one in outside_c)
    if not is_measured:
        outside_c = [facts.outside_c] * tape.count
    outside_rh: Sequence[Told] = tape.worst("rh_pct", "above", "outside")
    if not any(one is not None for one in outside_rh):
        outside_rh = [facts.outside_rh_pct] * tape.count
    glass_c = tape.worst("temp_c", "below", "glass")
    has_glass = any(one is not None for one in glass_c)
    if not has_glass:
        glass_c = _pane(temp_c, outside_c, facts.glass_u_w_m2k)
    return Inside(
        temp_c,
        _averaged(vapours, tape.count),
        glass_c,
        outside_c,
        _vapour(outside_rh, outside_c),
        _pressure(tape, facts),
        has_glass,
        is_measured,
    )


def _fellow(humid: str) -> str:
    """Name the temperature of the same part."""
    return humid.replace("rh_pct", "temp_c", 1)


def _coolest(columns: Sequence[Sequence[Told]], count: int) -> list[Told]:
    """Return the coolest column; where it is silent, the others less their excess."""
    if not columns:
        return [None] * count
    excess = [_excess(column, columns) for column in columns]
    order = sorted(range(len(columns)), key=lambda n: excess[n])
    coolest: list[Told] = [None] * count
    for n in reversed(order):
        less = excess[n] - excess[order[0]]
        for step, one in enumerate(columns[n]):
            if one is not None:
                coolest[step] = one - less
    return coolest


def _excess(column: Sequence[Told], columns: Sequence[Sequence[Told]]) -> float:
    """Return how much warmer a column is, on the whole, than the mean of all."""
    total, count = 0.0, 0
    for step, one in enumerate(column):
        known = [each for other in columns if (each := other[step]) is not None]
        if one is not None and len(known) == len(columns):
            total, count = total + one - math.fsum(known) / len(known), count + 1
    return total / count if count else 0.0


def _averaged(columns: Sequence[Sequence[Told]], count: int) -> list[Told]:
    if not columns:
        return [None] * count
    averaged: list[Told] = []
    for values in zip(*columns, strict=True):
        known = [one for one in values if one is not None]
        averaged.append(math.fsum(known) / len(known) if known else None)
    return averaged


def _vapour(humid: Sequence[Told], warm: Sequence[Told]) -> list[Told]:
    return [
        None if rh is None or temp is None else vapour_hpa(temp, max(rh, LEAST_RH_PCT))
        for rh, temp in zip(humid, warm, strict=True)
    ]


def _pane(
    temp_c: Sequence[Told], outside_c: Sequence[Told], u_w_m2k: float | None
) -> list[Told]:
    if u_w_m2k is None:
        return [None] * len(temp_c)
    return [
        None if warm is None or cold is None else surface_c(warm, cold, u_w_m2k)
        for warm, cold in zip(temp_c, outside_c, strict=True)
    ]


def _pressure(tape: NightSeries, facts: CabinFacts) -> float:
    known = [
        one
        for key in tape.keys("pressure_hpa")
        for one in tape.series[key]
        if one is not None and LEAST_HPA <= one <= MOST_HPA
    ]
    return math.fsum(known) / len(known) if known else facts.pressure_hpa


def hours(flags: Sequence[bool | None]) -> float:
    """Return how long something was so."""
    return sum(1 for one in flags if one) * STEP_S / 3600.0
