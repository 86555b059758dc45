"""The battery that feeds the watch: too low now, or empty before the night is over.

It chirps, since a vent helps no battery; and it is told again as the end comes near, at
an hour and at a quarter of one.
"""

from bisect import bisect_left
from functools import lru_cache

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.trend.rate import Rate, robust_rate

PER = "once"
ABOUT_AIR = False
"""A battery that recovers is no reason to go back in."""


@attrs.frozen
class Params:
    """Voltages of the battery, and the hours it must still last."""

    low_v: float = attrs.field(validator=Between(0.5, 60.0, laxer="lower"))
    """At or below it is told."""
    empty_v: float = attrs.field(validator=Between(0.5, 60.0, laxer="lower"))
    """The watch goes dark here."""
    hours: float = attrs.field(validator=Between(0.0, 168.0, laxer="lower"))
    """Fewer hours left at the present fall are told."""
    dead_band_v: float = attrs.field(
        default=0.1, validator=Between(0.0, 10.0, laxer="lower")
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


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the supply's voltage and how long it lasts at the present fall.

    Returns:
        None where no voltage is fresh, or where only a doubtful one says all is well.
    """
    worst = history.worst("supply_v", "below")
    if worst is None:
        return None
    key, series = worst
    minutes = series.minutes
    inside = minutes[bisect_left(minutes, (now - params.window_s,)) :]
    rate = _rate(inside[::-EVERY][::-1])
    hours_left: float | None = None
    # The interval's cautious end: noise alone must not wake anyone.
    if rate is not None and rate.hi < 0.0:
        hours_left = max(0.0, (series.value - params.empty_v) / -rate.mid)
    short = hours_left is not None and hours_left <= params.hours
    low = series.value <= params.low_v
    near = series.value <= params.low_v + params.dead_band_v or (
        hours_left is not None and hours_left <= 1.25 * params.hours
    )
    if not low and not short and series.doubtful:
        return None
    facts: dict[str, float | str] = {"supply_v": series.value, "limit": params.low_v}
    if hours_left is not None and hours_left >= LEAST_TOLD_H:
        facts["hours"] = hours_left
    is_empty = series.value <= params.empty_v
    stage = _stage(0.0 if is_empty else hours_left)
    return Verdict(
        Priority.FAULT if low or short else None,
        Priority.FAULT if low or short or near else None,
        facts,
        evidence={"series": key, "supply_v": series.value, "hours_left": hours_left},
        severity=params.low_v - series.value,
        wording=stage,
        topic=stage,
    )


LEAST_TOLD_H = 1.0 / 60.0
"""Nearer to its end no time is told: it may be over."""
STAGES = ((0.25, "quarter"), (1.0, "hour"))
"""With so many hours left it is told again."""


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
