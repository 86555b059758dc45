"""Dust and vapours of a night: what was measured, and what that may mean.

Annotations, never part of a verdict.  Dust is weighed and not named: only what rose
with it shows where it came from.  An index stands against its own part's last day (the
method forgets over twice its twelve hours), so it is no amount of gas, and a night in
bad air throughout shows none.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from cabinvigil.daemon.log.night import STEP_S, NightSeries, Told
from cabinvigil.drivers.kit.dust import RANGE_RH_PCT
from cabinvigil.drivers.kit.gas_index import NOX, VOC

DUST = "pm2_5_ugm3"
LEAST_RISE_UGM3 = 20.0
"""Twice what a part may be off (SPS30: 10 ug/m3 up to 100, data sheet)."""
LEAST_TIMES = 2.0
"""So many times the usual, where much dust is usual (our choice)."""
USUAL_SHARE = 0.2
"""The usual is what a fifth of the night lay beneath: a rise that lasts for hours does
not become it (our choice)."""
LEAST_STEPS = round(120.0 / STEP_S)
"""A shorter rise is a blanket shaken (our choice); carbon monoxide is averaged so."""
APART_S = 600.0
"""Rises nearer to each other than this are one (our choice)."""
LEAST_CO_UP_PPM = 3.0
"""More than a part's noise and a night's drift (our choice)."""
RAISED = {"voc_index": 250.0, "nox_index": 20.0}
"""From here on an index is shown as a picture (our choice; 500 is its end)."""
USUAL_INDEX = {"voc_index": VOC.offset, "nox_index": NOX.offset}

Meaning = Literal["damp", "with-co", "without-co", "co-unknown"]


@dataclass(frozen=True, slots=True)
class DustRise:
    """A stretch of much more dust than this night's usual."""

    from_s: float
    to_s: float
    most_ugm3: float
    at_s: float
    co_up_ppm: float | None
    """By how much carbon monoxide stood above its usual; None: nothing measured it."""
    is_damp: bool
    """The air was so damp that mist counts as dust."""

    @property
    def meaning(self) -> Meaning:
        """What may be said of where it came from."""
        if self.co_up_ppm is not None and self.co_up_ppm >= LEAST_CO_UP_PPM:
            return "with-co"
        if self.is_damp:
            return "damp"
        return "co-unknown" if self.co_up_ppm is None else "without-co"


@dataclass(frozen=True, slots=True)
class DustCourse:
    """Fine dust of a stretch."""

    mean_ugm3: float
    most_ugm3: float
    most_s: float
    rises: Sequence[DustRise]
    """By time."""


@dataclass(frozen=True, slots=True)
class IndexCourse:
    """One index of a stretch."""

    quantity: str
    most: float
    most_s: float

    @property
    def usual(self) -> float:
        """What it shows in the usual air of its place."""
        return USUAL_INDEX[self.quantity]

    @property
    def is_raised(self) -> bool:
        """It stood far above its usual."""
        return self.most >= RAISED[self.quantity]


@dataclass(frozen=True, slots=True)
class OtherAir:
    """What was measured of dust and vapours."""

    dust: DustCourse | None
    indices: Sequence[IndexCourse]


NOTHING_MEASURED = OtherAir(None, ())


def other_air(tape: NightSeries, from_s: float, to_s: float) -> OtherAir:
    """Look at the dust and the indices of a night, or of a stretch of it."""
    part = tape.between(from_s, to_s)
    indices = []
    for quantity in USUAL_INDEX:
        highest = _highest(tape.worst(quantity, "above")[part], part.start)
        if highest is not None:
            indices.append(IndexCourse(quantity, *highest))
    return OtherAir(_dust(tape, part), indices)


def _highest(values: Sequence[Told], start: int) -> tuple[float, float] | None:
    """Return the highest value and its moment; the first, where there are several."""
    known = [(value, -n) for n, value in enumerate(values) if value is not None]
    if not known:
        return None
    most, at = max(known)
    return most, (start - at) * STEP_S


def _dust(tape: NightSeries, part: slice) -> DustCourse | None:
    values = tape.worst(DUST, "above")[part]
    highest = _highest(values, part.start)
    if highest is None:
        return None
    known = [one for one in values if one is not None]
    usual = _usual(known)
    least = max(usual + LEAST_RISE_UGM3, LEAST_TIMES * usual)
    co = tape.worst("co_ppm", "above")[part]
    rh = tape.worst("rh_pct", "above", "")[part]
    rises = []
    for begin, end in _stretches(values, least):
        told = _highest(values[begin:end], part.start + begin)
        if told is None:
            continue
        from_s, to_s = ((part.start + n) * STEP_S for n in (begin, end))
        up = _co_up(co, begin, end)
        damp = _mean(rh[begin:end])
        is_damp = damp is not None and damp >= RANGE_RH_PCT[1]
        rises.append(DustRise(from_s, to_s, *told, up, is_damp))
    return DustCourse(math.fsum(known) / len(known), *highest, rises)


def _usual(known: Sequence[float]) -> float:
    return sorted(known)[int(USUAL_SHARE * (len(known) - 1))]


def _mean(values: Sequence[Told]) -> Told:
    known = [one for one in values if one is not None]
    return math.fsum(known) / len(known) if known else None


def _stretches(values: Sequence[Told], least: float) -> list[tuple[int, int]]:
    """Return the stretches at `least` or above, as steps from and to."""
    found: list[tuple[int, int]] = []
    for n, value in enumerate(values):
        if value is None or value < least:
            continue
        if found and (n - found[-1][1]) * STEP_S < APART_S:
            found[-1] = (found[-1][0], n + 1)
        else:
            found.append((n, n + 1))
    return [
        (begin, end)
        for begin, end in found
        if sum(1 for v in values[begin:end] if v is not None and v >= least)
        >= LEAST_STEPS
    ]


def _co_up(co: Sequence[Told], begin: int, end: int) -> float | None:
    """Return by how much CO stood above the usual in a stretch; None: not measured."""
    known = [one for one in co if one is not None]
    means = [
        _mean(co[n : n + LEAST_STEPS])
        for n in range(begin, max(begin, end - LEAST_STEPS) + 1)
    ]
    within = [one for one in means if one is not None]
    return max(within) - _usual(known) if within else None
