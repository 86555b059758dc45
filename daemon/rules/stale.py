"""A series that gave nothing usable for too long.

Silence is never good news: a lost oxygen or carbon monoxide sensor with no fellow is
worth waking for, since nothing then guards against what it measured.
"""

import attrs

from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.drivers.kit.quantity import VITAL, split_channel

PER = "series"


@attrs.frozen
class Params:
    """Which series is judged, and how long it may be silent at the start."""

    subject: str = ""
    start_grace_s: float = attrs.field(
        default=60.0, validator=Between(0.0, 3600.0, laxer="higher")
    )
    """After the start a part has this long, beside its warm-up and age, to speak."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the age of the last usable value."""
    key = params.subject
    spec = history.layout.series[key]
    series = history.series[key]
    age_s = now - series.at_s
    if age_s <= spec.max_age_s:
        return _FINE
    if series.at_s < history.started_s:
        age_s = now - history.started_s
        if age_s <= spec.max_age_s + spec.warm_up_s + params.start_grace_s:
            return None
    parts = split_channel(key)
    quantity = "" if parts is None else parts[0].name
    alone = history.worst(quantity, "above") is None
    vital = quantity in VITAL and alone
    return Verdict(
        Priority.MEDIUM if vital else Priority.FAULT,
        facts={
            "part": place_of(history, key),
            "seconds": age_s,
            "text": "" if parts is None else parts[0].words,
        },
        evidence={"series": key, "age_s": age_s, "fellows": not alone},
        wording="alone" if vital else "",
    )


_FINE = Verdict(None)
