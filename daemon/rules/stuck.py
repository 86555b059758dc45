"""A part that repeats one value for longer than a live part does.

A live sensor flickers where its noise is larger than its step, in still air too: some
minutes at one value are enough.  So they are for carbon monoxide away from zero, where
the air itself is never still.  A coarse part may rightly stand for an hour in still
air; but where other gases have moved meanwhile, the air has moved.  Near zero, and at
the end of its range, a part may stand for days.  A recording does not say which part
gave a column: one that flickered so far is stuck in minutes, others may stand longer.
"""

from bisect import bisect_left

import attrs

from cabinvigil.daemon.core.history import (
    History,
    Series,
    flickers,
    place_of,
    still_s,
)
from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.core.vital import gravest_loss, loss_of, quantity_name
from cabinvigil.drivers.kit.quantity import split_channel

PER = "series"

REPEATS = 12
"""However slowly readings are taken, so many repeats in a row must have been seen: with
a probability of 0.4 for each, a living part gives them once in 60 000 (our choice; with
ticks of a minute it is 12 minutes of the 15 that the manual grants)."""
WITNESSES = {
    "o2_pct": ("co2_ppm",),
    "o2_hpa": ("co2_ppm",),
    "co2_ppm": ("o2_pct", "rh_pct"),
    "rh_pct": ("temp_c", "co2_ppm"),
}
"""What must have moved if this quantity's air has moved (design.md, section 5)."""
MOVED = {"o2_pct": 0.3, "co2_ppm": 2000.0, "rh_pct": 8.0, "temp_c": 3.0}
"""A witness that moved by this much: 2 000 ppm of CO2 is 0.33 % of O2 by propane's
5 to 3, three steps of the coarsest O2 sensor; the others are our choice."""
REST_S = 7.0 * 86_400.0
"""Where a part may rest, at nothing, only a week without the least flicker is too long
(the CO module's figure)."""


@attrs.frozen
class Params:
    """Which series is judged, and how patient the rule is."""

    subject: str = ""
    lively_s: float = attrs.field(
        default=300.0, validator=Between(60.0, 3600.0, laxer="higher")
    )
    """A value that flickers while its part lives may stand for so long (sensors, 'how a
    wire fails', row 13) ..."""
    lively_intervals: float = attrs.field(
        default=60.0, validator=Between(10.0, 1000.0, laxer="higher")
    )
    """... and for so many of its intervals, whichever is longer: two equal readings
    come with a probability of 0.4 to 0.7, so that sixty never come (our choice)."""
    moved_s: float = attrs.field(
        default=300.0, validator=Between(60.0, 86_400.0, laxer="higher")
    )
    """Where a witness has moved, a value may stand for so long (sensors, 'how a wire
    fails', row 13: 300 s for coarse values unless every witness is flat too)."""
    coarse_s: float = attrs.field(
        default=3600.0, validator=Between(60.0, 86_400.0, laxer="higher")
    )
    """Where the step is larger than the noise, a value may stand for at least so long
    in still air (sensors, 'how a wire fails', row 13; the hour is our choice)."""
    patience: float = attrs.field(
        default=6.0, validator=Between(1.0, 100.0, laxer="higher")
    )
    """Where the step is not known, a value may stand this many times `stuck_s`."""


def _witness_moved(history: History, key: str, since_s: float) -> bool:
    for quantity in WITNESSES.get(quantity_name(key), ()):
        worst = history.worst(quantity, "above")
        if worst is None:
            continue
        minutes = worst[1].minutes
        means = [mean for _, mean in minutes[bisect_left(minutes, (since_s,)) :]]
        if means and max(means) - min(means) >= MOVED[quantity]:
            return True
    return False


def _coarse_s(params: Params, spec: SeriesSpec, value: float) -> float:
    """Return how long a value that need not flicker may stand where nothing moves."""
    if spec.resolution <= 0.0:
        return params.patience * spec.stuck_s
    if value > spec.moves_above:
        return params.coarse_s  # the air moves, if by less than its step
    return max(spec.stuck_s, params.coarse_s)


Shown = tuple[float, SeriesSpec, Series]
"""How long a value has stood, and the series that shows whether its part lives."""


def _is_proved(params: Params, history: History, key: str, shown: Shown) -> bool:
    """Return whether no living part could have stood for so long."""
    stood_s, spec, series = shown
    if flickers(spec, series):
        lively_s = max(params.lively_s, params.lively_intervals * spec.interval_s)
        return stood_s > lively_s and series.repeats >= REPEATS
    if stood_s > min(spec.stuck_s, params.moved_s) and _witness_moved(
        history, key, series.changed_s
    ):
        return True
    is_known = spec.resolution > 0.0 and not spec.rests(series.value)
    return is_known and stood_s > _coarse_s(params, spec, series.value)


def _is_suspect(params: Params, shown: Shown) -> bool:
    """Return whether it has stood for so long that somebody should look at the part."""
    stood_s, spec, series = shown
    if spec.rests(series.value):
        return stood_s > max(REST_S, spec.stuck_s)
    return stood_s > _coarse_s(params, spec, series.value)


def _is_told_by_percent(history: History, key: str) -> bool:
    """Return whether it is the signal of another series: that one tells of both."""
    signals = history.layout.signals
    return any(
        signal == key and history.fresh(other) is not None
        for other, signal in signals.items()
    )


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge how long the value has stood without the least change."""
    key = params.subject
    series = history.fresh(key)
    if series is None:
        return None
    if _is_told_by_percent(history, key):
        return _FINE
    shown = still_s(history.layout, history.series, key, now)
    stood_s, spec, signal = shown
    if signal.at_least or signal.value >= spec.top:
        return _FINE
    is_proved = _is_proved(params, history, key, shown)
    if not is_proved and not _is_suspect(params, shown):
        return _FINE
    loss = loss_of(history, key)
    parts = split_channel(key)
    return Verdict(
        loss.priority if is_proved else Priority.FAULT,
        facts={
            "part": place_of(history, key),
            "value": series.value,
            "unit": "" if parts is None else parts[0].unit,
            "seconds": stood_s,
            "text": loss.text,
        },
        evidence={"series": key, "value": series.value, "still_s": stood_s},
        wording=loss.wording if is_proved else "",
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    return gravest_loss(params.subject)


_FINE = Verdict(None)
