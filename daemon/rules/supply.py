"""The battery that feeds the watch: too low now, or empty before the night is over."""

from functools import lru_cache

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.trend.rate import Rate, robust_rate

PER = "once"


@attrs.frozen
class Params:
    """Voltages of the battery, and the hours it must still last."""

    low_v: float
    """At or below: medium."""
    empty_v: float
    """The watch goes dark here."""
    hours: float
    """Fewer hours left at the present fall: medium."""
    dead_band_v: float = 0.1
    window_s: float = 3600.0
    """The fall is judged over minute means of this span."""


@lru_cache(maxsize=8)
def _rate(points: tuple[tuple[float, float], ...]) -> Rate | None:
    return robust_rate(points)


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the supply's voltage and how long it lasts at the present fall.

    Every sixth minute mean of the window serves: a battery sags slowly.
    """
    worst = history.worst("supply_v", "below")
    if worst is None:
        return None
    key, series = worst
    inside = [p for p in series.minutes if p[0] >= now - params.window_s]
    rate = _rate(tuple(inside[::-6][::-1]))
    hours_left: float | None = None
    # The interval's cautious end: noise alone must not wake anyone.
    if rate is not None and rate.hi < 0.0:
        hours_left = max(0.0, (series.value - params.empty_v) / -rate.mid)
    short = hours_left is not None and hours_left <= params.hours
    low = series.value <= params.low_v
    near = series.value <= params.low_v + params.dead_band_v or (
        hours_left is not None and hours_left <= 1.25 * params.hours
    )
    facts: dict[str, float | str] = {"supply_v": series.value, "limit": params.low_v}
    if hours_left is not None:
        facts["hours"] = hours_left
    return Verdict(
        Priority.MEDIUM if low or short else None,
        Priority.MEDIUM if low or short or near else None,
        facts,
        evidence={"series": key, "supply_v": series.value, "hours_left": hours_left},
        worse=params.low_v - series.value,
        wording="" if hours_left is None else "hours",
    )
