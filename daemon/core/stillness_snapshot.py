"""How long a part has rested at nothing outlives a restart: it may be blind.

Only a week without the least flicker tells a part that rests from clean air.  Where the
Pi has no power by day no run is so long, so what was watched of it adds up.  The time
without power does not count: nobody saw the part then.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.alarm_snapshot import number
from cabinvigil.daemon.core.history import History, Series
from cabinvigil.daemon.core.layout import Layout

MOST_S = 400.0 * 86400.0
"""More than a year of rest tells no more than that."""


def stillness_to_plain(history: History) -> dict[str, Any]:
    """Put into plain values what each series rests at, and for how long it has.

    A value that moves, or would if its part lived, needs no other run to be judged.
    """
    plain: dict[str, Any] = {}
    for key, series in history.series.items():
        if not history.layout.series[key].rests(series.value):
            continue
        # Up to its last reading; where this run brought none yet, up to its start.
        stood_s = max(series.at_s, history.started_s) - series.changed_s
        if math.isfinite(stood_s) and stood_s > 0.0:
            plain[key] = [series.value, round(min(stood_s, MOST_S))]
    return plain


def with_stillness(
    layout: Layout, series: Mapping[str, Series], kept: Any, now: float
) -> dict[str, Series]:
    """Return series that know what they rested at; what cannot be read is left out.

    Args:
        layout: as it is now.
        series: as the run begins, without any value.
        kept: what `stillness_to_plain` made, or anything.
        now: monotonic seconds.
    """
    known = dict(series)
    for key, pair in kept.items() if isinstance(kept, Mapping) else ():
        spec = layout.series.get(key)
        if spec is None or not isinstance(pair, list) or len(pair) != 2:
            continue
        value = number(pair[0], math.nan, spec.low, spec.high)
        stood_s = number(pair[1], math.nan, 0.0, MOST_S)
        if spec.rests(value) and math.isfinite(stood_s):
            known[key] = replace(known[key], value=value, changed_s=now - stood_s)
    return known
