"""A part past its service life, or past its last span."""

import attrs

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "part"


@attrs.frozen
class Params:
    """Which part is judged."""

    subject: str = ""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the part's age in service.

    The core has no calendar: the shell works out at the start how many seconds of
    service are left (`service_left_s` in the part's facts), and the core counts on.

    Returns:
        None where the part does not wear, or its start of service is not known.
    """
    facts = history.layout.part_facts.get(params.subject, {})
    left_s = facts.get("service_left_s")
    if left_s is None:
        return None
    over_s = now - history.started_s - left_s
    if over_s < 0.0:
        return _FINE
    return Verdict(
        Priority.FAULT,
        facts={"part": str(facts.get("title", params.subject))},
        evidence={"part": params.subject, "over_s": over_s},
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.FAULT


_FINE = Verdict(None)
