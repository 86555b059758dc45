"""A part whose values stay doubtful: warming up for too long, or out of its range."""

import attrs

from cabinvigil.daemon.core.facts import place_of
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.limits import Between
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "series"


@attrs.frozen
class Params:
    """Which series is judged."""

    subject: str = ""
    factor: float = attrs.field(default=2.0, validator=Between(1.0, 100.0))
    """Longer than this many times its warm-up is too long."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether a series is still doubtful long after the start.

    The engine's on-delay bridges short spells outside the part's range.
    """
    key = params.subject
    series = history.fresh(key)
    if series is None:
        return None
    if not series.doubtful:
        return _FINE
    spec = history.setup.series[key]
    if now - history.started_s <= params.factor * spec.warm_up_s:
        return _FINE
    return Verdict(
        Priority.FAULT,
        facts={"part": place_of(history, key), "value": series.value},
        evidence={"series": key, "since_start_s": now - history.started_s},
    )


def laxer(params: Params, published: Params) -> list[str]:
    """List what is less strict here than in the packaged limits; empty is fine."""
    own, usual = params.factor, published.factor
    if own <= usual:
        return []
    return [f"{own:g} times its warm-up a part may stay doubtful, packaged {usual:g}"]


_FINE = Verdict(None)
