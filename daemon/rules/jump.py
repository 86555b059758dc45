"""A part that leaps further than air can, and was not believed.

A door that has just opened or shut explains a leap: that is no fault of the part.
"""

import attrs

from cabinvigil.daemon.core.contacts import has_door_moved
from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.drivers.kit.quantity import split_channel

PER = "series"


@attrs.frozen
class Params:
    """Which series is judged."""

    subject: str = ""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether the last value given was a leap that awaits its second."""
    del now
    key = params.subject
    refused = history.series[key].refused
    if refused is None or refused.kind != "jump" or has_door_moved(history):
        return _FINE
    parts = split_channel(key)
    return Verdict(
        Priority.FAULT,
        facts={
            "part": place_of(history, key),
            "value": refused.value,
            "other": history.series[key].value,
            "unit": "" if parts is None else parts[0].unit,
        },
        evidence={"series": key, "value": refused.value, "count": refused.count},
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.FAULT


_FINE = Verdict(None)
