"""A part that repeats one value for longer than a live part does.

A live sensor flickers where its noise is larger than its step: then its own time
counts, some minutes, in still air too.  A coarse one may rightly stand for an hour in
still air; but where other gases have moved meanwhile, the air has moved, and a few
minutes are enough.  A recording does not say which part gave a column: there a value
may stand for longer.
"""

from bisect import bisect_left

import attrs

from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.drivers.kit.quantity import split_channel

PER = "series"

WITNESSES = {
    "o2_pct": ("co2_ppm",),
    "o2_hpa": ("co2_ppm",),
    "co2_ppm": ("o2_pct", "rh_pct"),
    "rh_pct": ("temp_c", "co2_ppm"),
}
"""What must have moved if this quantity's air has moved (design.md, section 5)."""
MOVED = {"o2_pct": 0.3, "co2_ppm": 2000.0, "rh_pct": 8.0, "temp_c": 3.0}
"""A witness that moved by this much: 2 000 ppm of CO2 is 0.33 % of O2 by propane's
5 to 3, three steps of the coarsest O2 sensor; the others are our own choice."""


@attrs.frozen
class Params:
    """Which series is judged, and how patient the rule is."""

    subject: str = ""
    moved_s: float = attrs.field(
        default=300.0, validator=Between(60.0, 86_400.0, laxer="higher")
    )
    """Where a witness has moved, a value may stand for so long (sensors, 'how a wire
    fails', row 13: 300 s for coarse values unless every witness is flat too)."""
    coarse_s: float = attrs.field(
        default=3600.0, validator=Between(60.0, 86_400.0, laxer="higher")
    )
    """Where the step is larger than the noise, a value may stand for at least so long
    in still air (sensors, 'how a wire fails', row 13; the hour is our own choice)."""
    patience: float = attrs.field(
        default=6.0, validator=Between(1.0, 100.0, laxer="higher")
    )
    """Where the step is not known, a value may stand this many times `stuck_s`."""


def _witness_moved(history: History, key: str, since_s: float) -> bool:
    parts = split_channel(key)
    for quantity in WITNESSES.get("" if parts is None else parts[0].name, ()):
        worst = history.worst(quantity, "above")
        if worst is None:
            continue
        minutes = worst[1].minutes
        means = [mean for _, mean in minutes[bisect_left(minutes, (since_s,)) :]]
        if means and max(means) - min(means) >= MOVED[quantity]:
            return True
    return False


def _still_air_s(params: Params, spec: SeriesSpec) -> float:
    """Return how long a live part's value may stand where nothing moves."""
    if spec.resolution <= 0.0:
        return params.patience * spec.stuck_s
    if spec.noise >= spec.resolution:
        return spec.stuck_s
    return max(spec.stuck_s, params.coarse_s)


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge how long the value has stood without the least change."""
    key = params.subject
    spec = history.layout.series[key]
    series = history.fresh(key)
    if series is None:
        return None
    still_s = now - series.changed_s
    if still_s <= min(spec.stuck_s, params.moved_s):
        return _FINE
    if still_s <= _still_air_s(params, spec) and not _witness_moved(
        history, key, series.changed_s
    ):
        return _FINE
    parts = split_channel(key)
    return Verdict(
        Priority.FAULT,
        facts={
            "part": place_of(history, key),
            "value": series.value,
            "unit": "" if parts is None else parts[0].unit,
            "seconds": still_s,
        },
        evidence={"series": key, "value": series.value, "still_s": still_s},
    )


_FINE = Verdict(None)
