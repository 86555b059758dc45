"""The battery that feeds the monitor: too low now, or empty before the night is over.

It chirps, since a vent helps no battery; and it is told again as the end comes near, at
an hour and at a quarter of one.
"""

from bisect import bisect_left
from dataclasses import replace
from functools import lru_cache

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.trend.rate import Rate, robust_rate

PER = "once"
ABOUT_AIR = False
SHOWN_WITH = "supply_v"
"""A battery that recovers is no reason to go back in."""


@attrs.frozen
class Params:
    """Voltages of the battery, and the hours it must still last."""

    low_v: float = attrs.field(validator=Between(0.5, 60.0, laxer="lower"))
    """At or below it is told."""
    empty_v: float = attrs.field(validator=Between(0.5, 60.0, laxer="lower"))
    """The monitor goes dark here."""
    hours: float = attrs.field(validator=Between(0.0, 168.0, laxer="lower"))
    """Fewer hours left at the present fall are told."""
    dead_band_v: float = attrs.field(
        default=0.1, validator=Between(0.0, 10.0, laxer="lower")
    )
    low_pct: float = attrs.field(
        default=15.0, validator=Between(0.0, 100.0, laxer="lower")
    )
    """A gauge's charge at or below it is told."""
    empty_pct: float = attrs.field(
        default=3.0, validator=Between(0.0, 100.0, laxer="lower")
    )
    """At such a charge the monitor goes dark: gauges are off by some percent."""
    dead_band_pct: float = attrs.field(
        default=3.0, validator=Between(0.0, 50.0, laxer="lower")
    )
    window_s: float = attrs.field(
        default=3600.0, validator=Between(1800.0, 28_800.0, laxer="either")
    )
    """The fall is judged over minute means of this span: a longer one answers late, a
    shorter one is less sure and answers later too."""


EVERY = 6
"""Every sixth minute mean serves: a battery sags slowly, and pairs cost a square."""


@lru_cache(maxsize=8)
def _rate(points: tuple[tuple[float, float], ...]) -> Rate | None:
    return robust_rate(points)


@attrs.frozen
class _Measure:
    """What shows how full a battery is, and where it is low and empty."""

    quantity: str
    low: float
    empty: float
    dead_band: float
    whole: float
    """What so far below low weighs as one step of severity."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge how full the supply is and how long it lasts at the present fall.

    A battery is told by its voltage, and one with a gauge by its charge, which a
    lithium cell's volts do not tell; with both, by the one that is nearer its end.

    Returns:
        None where nothing is fresh, or where only a doubtful one says all is well, or
        one of the two while the other is not known.
    """
    volts = _Measure("supply_v", params.low_v, params.empty_v, params.dead_band_v, 1.0)
    charge = _Measure(
        *("charge_pct", params.low_pct, params.empty_pct, params.dead_band_pct),
        max(params.low_pct, 1.0),
    )
    measures = [m for m in (volts, charge) if history.layout.index(m.quantity)]
    found = [_judged(params, one, history, now) for one in measures]
    known = [one for one in found if one is not None]
    worst = max(known, key=_nearness, default=None)
    if worst is None or (worst.hold is None and len(known) < len(found)):
        return None  # what is not known may be what sounded
    hours = [one.evidence["hours_left"] for one in known]
    fewest = min((one for one in hours if one is not None), default=None)
    return replace(worst, evidence={**worst.evidence, "hours_left": fewest})


def _nearness(verdict: Verdict) -> tuple[bool, bool, int, float]:
    """Sort by how near the end is: what is told before what is well."""
    return (
        verdict.priority is not None,
        verdict.hold is not None,
        ENDS.index(verdict.wording),
        verdict.severity,
    )


def _judged(
    params: Params, measure: _Measure, history: History, now: float
) -> Verdict | None:
    """Judge by one measure."""
    worst = history.worst(measure.quantity, "below")
    if worst is None:
        return None
    key, series = worst
    minutes = series.minutes
    inside = minutes[bisect_left(minutes, (now - params.window_s,)) :]
    rate = _rate(inside[::-EVERY][::-1])
    hours_left: float | None = None
    # The interval's cautious end: noise alone must not wake anyone.
    if rate is not None and rate.hi < 0.0:
        hours_left = max(0.0, (series.value - measure.empty) / -rate.mid)
    short = hours_left is not None and hours_left <= params.hours
    low = series.value <= measure.low
    near = series.value <= measure.low + measure.dead_band or (
        hours_left is not None and hours_left <= 1.25 * params.hours
    )
    if not low and not short and series.doubtful:
        return None
    facts: dict[str, float | str] = {
        measure.quantity: series.value,
        "limit": measure.low,
    }
    if hours_left is not None and hours_left >= LEAST_TOLD_H:
        facts["hours"] = hours_left
    is_empty = series.value <= measure.empty
    stage = _stage(0.0 if is_empty else hours_left)
    return Verdict(
        Priority.FAULT if low or short else None,
        Priority.FAULT if low or short or near else None,
        facts,
        evidence={
            "series": key,
            measure.quantity: series.value,
            "hours_left": hours_left,
        },
        severity=(measure.low - series.value) / measure.whole,
        wording=stage,
        topic=stage,
    )


LEAST_TOLD_H = 1.0 / 60.0
"""Nearer to its end no time is told: it may be over."""
STAGES = ((0.25, "quarter"), (1.0, "hour"))
"""With so many hours left it is told again."""
ENDS = ("", "hours", "hour", "quarter")
"""The wordings, the nearest end last."""


def _stage(hours_left: float | None) -> str:
    """Return how near the end is; '' where the voltage alone is known."""
    if hours_left is None:
        return ""
    near = (word for most, word in STAGES if hours_left <= most)
    return next(near, "hours")


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.FAULT
