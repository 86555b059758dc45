"""A series that gave nothing usable for too long.

Silence is never good news: a lost oxygen or carbon monoxide sensor with no fellow is
worth waking for, since nothing then guards against what it measured.
"""

import attrs

from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.core.vital import (
    Loss,
    gravest_loss,
    is_seen_otherwise,
    loss_of,
    quantity_name,
)

PER = "series"

START_WARM_S = 180.0
"""After the start a part's warm-up counts for so long at most: it gives values while it
warms up, and one that gives none need not be waited for (our choice)."""


@attrs.frozen
class Params:
    """Which series is judged, and how patient the rule is."""

    subject: str = ""
    start_grace_s: float = attrs.field(
        default=60.0, validator=Between(0.0, 3600.0, laxer="higher")
    )
    """After the start a part has this long, beside its warm-up and age, to speak."""
    retry_s: float = attrs.field(
        default=25.0, validator=Between(0.0, 30.0, laxer="higher")
    )
    """Where another gas is still watched, the loss of a vital part wakes nobody for so
    long: a part that missed some answers is mostly back by then (our choice, within a
    sampler's longest wait of 30 s for a part that fails)."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the age of the last usable value.

    Returns:
        None where the part has had no time to speak since the start.
    """
    del now  # readings come with the ticks: nothing falls silent between two
    key = params.subject
    spec = history.layout.series[key]
    series = history.series[key]
    age_s, most_s = history.age_s(key), spec.max_age_s
    if age_s <= most_s:
        return _FINE
    has_spoken = series.at_s >= history.started_s
    if not has_spoken:
        age_s = history.last_tick_s - history.started_s
        most_s += min(spec.warm_up_s, START_WARM_S) + params.start_grace_s
        if age_s <= most_s:
            return None
    loss = loss_of(history, key)
    is_patient = has_spoken and age_s <= most_s + params.retry_s
    if loss.wording and is_patient and is_seen_otherwise(history, key):
        loss = Loss(Priority.FAULT, "", loss.text)
    return Verdict(
        loss.priority,
        facts={"part": place_of(history, key), "seconds": age_s, "text": loss.text},
        evidence={
            "series": key,
            "age_s": age_s,
            "fellows": history.is_watched(quantity_name(key), but=key),
        },
        wording=loss.wording,
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    return gravest_loss(params.subject)


_FINE = Verdict(None)
