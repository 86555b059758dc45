"""A part that gives values which no air has."""

import attrs

from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.core.vital import gravest_loss, loss_of
from cabinvigil.drivers.kit.quantity import split_channel

PER = "series"


@attrs.frozen
class Params:
    """Which series is judged."""

    subject: str = ""
    retry_s: float = attrs.field(
        default=25.0, validator=Between(0.0, 30.0, laxer="higher")
    )
    """A part that has given nothing else for so long beyond its age is lost."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether the last value given lay outside the physical range.

    One such value is a fault; where none that can be has come for long, and nothing
    else gives a vital quantity, it is a loss.
    """
    key = params.subject
    refused = history.series[key].refused
    if refused is None or refused.kind != "range":
        return _FINE
    loss = loss_of(history, key)
    max_age_s = history.layout.series[key].max_age_s
    is_lost = history.age_s(key) > max_age_s + params.retry_s
    is_lost = is_lost and now - refused.first_s > params.retry_s
    parts = split_channel(key)
    return Verdict(
        loss.priority if is_lost else Priority.FAULT,
        facts={
            "part": place_of(history, key),
            "value": refused.value,
            "unit": "" if parts is None else parts[0].unit,
            "text": loss.text,
        },
        evidence={"series": key, "value": refused.value, "count": refused.count},
        wording=loss.wording if is_lost else "",
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    return gravest_loss(params.subject)


_FINE = Verdict(None)
