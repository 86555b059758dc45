"""The monitor itself: log, broker, clock, loop, host; whatever is no part."""

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "source"


@attrs.frozen
class Params:
    """Which source is judged."""

    subject: str = ""
    """`log mqtt buzzer clock loop host settings phone`; filled in when composed."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether the source has a fault now."""
    del now
    fault = history.sources.get(params.subject)
    if fault is None:
        return _FINE
    return Verdict(
        Priority.FAULT,
        facts={"source": params.subject, "text": fault.text},
        evidence={"source": fault.source, "kind": fault.kind},
        wording=fault.kind,
        topic=fault.kind,
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.FAULT


_FINE = Verdict(None)
