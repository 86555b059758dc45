"""A quantity that falls or rises fast enough to matter soon, whatever model one holds.

The robust rate knows no cabin and no burner: it stands guard from the fifth minute on,
while the projection is still learning, and whenever the projection is wrong.
"""

from functools import lru_cache
from typing import Literal

import attrs

from cabinvigil.daemon.core.history import History, o2_facts
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between, Finite, is_quantity
from cabinvigil.daemon.core.warmth import moved_by
from cabinvigil.daemon.trend.rate import Rate, robust_rate

PER = "once"


@attrs.frozen
class Params:
    """A rate that is too fast, and a limit that it would reach too soon."""

    quantity: str = attrs.field(validator=is_quantity)
    side: Literal["below", "above"]
    limit_per_h: float = attrs.field(validator=Between(1e-6, laxer="higher"))
    """Slower than this never rings, in the quantity's unit an hour."""
    towards: float = attrs.field(validator=Finite(laxer="outward"))
    """The limit that the value moves to."""
    within_s: float = attrs.field(validator=Between(60.0, 86_400.0, laxer="lower"))
    """At this rate the limit must be this near."""
    window_s: float = attrs.field(
        default=600.0, validator=Between(360.0, 1200.0, laxer="either")
    )
    """Minute means of this span are judged; five of them are the least that tells.  A
    longer span answers late, a shorter one is less sure and rings later too."""
    priority: Literal["low", "medium", "high"] = "medium"


MOST_MINUTES = 20
"""Means of the longest window; more would cost and tell nothing new."""


@lru_cache(maxsize=32)
def _rate(points: tuple[tuple[float, float], ...]) -> Rate | None:
    # The minute means change once a minute, the rule is asked every tick.
    return robust_rate(points)


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the worst fresh series' robust rate.

    The whole interval must lie beyond the limit: what the sensor's own noise could
    explain does not ring.

    Returns:
        None where no series is fresh, where fewer than five minutes are known, or where
        only a doubtful value would say that all is well.
    """
    worst = history.worst(params.quantity, params.side)
    if worst is None:
        return None
    key, series = worst
    since_s = now - params.window_s
    points = tuple(p for p in series.minutes[-MOST_MINUTES:] if p[0] >= since_s)
    rate = _rate(points)
    if rate is None:
        return None
    sign = -1.0 if params.side == "below" else 1.0
    least = sign * (rate.hi if params.side == "below" else rate.lo)
    # Of its fall within the window so much may be its own warmth's.
    least -= moved_by(history, key) / (params.window_s / 3600.0)
    middle = sign * rate.mid
    distance = sign * (params.towards - series.value)
    within_h = params.within_s / 3600.0
    raised = least >= params.limit_per_h and distance <= middle * within_h
    held = middle >= 0.5 * params.limit_per_h and distance <= middle * 2.0 * within_h
    if not raised and series.doubtful:
        return None
    priority = Priority[params.priority.upper()]
    facts = o2_facts(history) if params.quantity == "o2_pct" else {}
    facts[params.quantity] = series.value
    facts["rate_pct_per_h"] = rate.mid
    facts["limit"] = params.towards
    if middle > 0.0 and distance > 0.0:
        facts["minutes"] = distance / middle * 60.0
    return Verdict(
        priority if raised else None,
        priority if raised or held else None,
        facts,
        evidence={
            "series": key,
            "value": series.value,
            "rate_per_h": [rate.lo, rate.mid, rate.hi],
            "window_s": params.window_s,
            "limit": params.towards,
        },
        severity=middle,
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    return Priority[params.priority.upper()]
