"""The air across a restart: the minutes of those series that a long mean is taken of.

A sleeper has breathed the hours before a restart too, so a mean over eight hours must
not begin anew with it.  Everything else of the air is measured again in a tick.
"""

import math
from collections.abc import Mapping
from typing import Any

from cabinvigil.daemon.core.history import KEPT_MINUTES, Series, closed_minutes
from cabinvigil.daemon.core.setup import SeriesSpec, Setup

DECIMALS = 2
"""Of a minute's mean: finer than any limit, at a third of the bytes."""


def to_plain(setup: Setup, series: Mapping[str, Series], now: float) -> dict[str, Any]:
    """Put minutes into plain values: a mean for each, the present minute's the last.

    None stands where no reading came.
    """
    plain: dict[str, Any] = {}
    for key, spec in setup.series.items():
        minutes = closed_minutes(series[key]) if spec.mean_s > 0.0 else ()
        first = _minute(now) - min(KEPT_MINUTES, math.ceil(spec.mean_s / 60.0)) + 1
        known = {
            _minute(at_s): round(mean, DECIMALS)
            for at_s, mean in minutes
            if _minute(at_s) >= first
        }
        if known:
            last = max(_minute(now), max(known))
            plain[key] = [known.get(one) for one in range(min(known), last + 1)]
    return plain


def from_plain(setup: Setup, kept: Any, now: float, gone_s: float) -> dict[str, Series]:
    """Read the minutes back; what cannot be read is left out.

    Args:
        setup: as it is now.
        kept: what `to_plain` made, or anything.
        now: monotonic seconds.
        gone_s: what has passed since it was kept, as far as is known.

    Returns:
        Series that know their past and nothing of the present, by key.
    """
    found: dict[str, Series] = {}
    for key, means in kept.items() if isinstance(kept, Mapping) else ():
        spec = setup.series.get(key)
        if spec is None or spec.mean_s <= 0.0 or not isinstance(means, list):
            continue
        # Before the minute that is being gathered now, so that none stands twice.
        last = min(_minute(now - gone_s), _minute(now) - 1)
        numbered = enumerate(
            means[-KEPT_MINUTES:], last + 1 - len(means[-KEPT_MINUTES:])
        )
        minutes = tuple(
            (minute * 60.0 + 30.0, float(mean))
            for minute, mean in numbered
            if _is_possible(spec, mean)
        )
        if minutes:
            found[key] = Series(minutes=minutes)
    return found


def _minute(at_s: float) -> int:
    return int(at_s // 60.0)


def _is_possible(spec: SeriesSpec, mean: Any) -> bool:
    if isinstance(mean, bool) or not isinstance(mean, int | float):
        return False
    return spec.low <= mean <= spec.high
