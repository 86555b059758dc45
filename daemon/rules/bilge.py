"""Water stands in the bilge, and has lifted the float switch.

`medium`: somebody must get up, find where it comes in and pump, and has minutes for it,
which gas does not leave.  `high` would sound like gas and say to get out, and a boat is
left last of all; who wants it none the less raises `priority`.
"""

from collections.abc import Mapping
from typing import Literal

import attrs

from cabinvigil.daemon.core.contacts import QUANTITY, TELLS, told_by
from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "once"
ABOUT_AIR = False
"""A bilge that is dry again is no reason to go back in."""


@attrs.frozen
class Params:
    """How grave it is."""

    priority: Literal["medium", "high"] = "medium"


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether any float switch is up.

    Returns:
        None where none is known to be up, and not all are known to be down.
    """
    del now  # as for the other contacts
    told = told_by(history, "bilge")
    if told is None:
        return _FINE
    if not told.closed:
        return _FINE if told.is_known else None
    priority = Priority[params.priority.upper()]
    facts: dict[str, float | str] = {}
    if len(history.layout.index(QUANTITY, "bilge")) > 1:
        facts["part"] = place_of(history, told.closed[0])
    return Verdict(
        priority,
        priority,
        facts,
        evidence={"series": told.closed[0], "closed": len(told.closed)},
        severity=float(len(told.closed)),
    )


def urgent(params: Params) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """Return the limit past which each reading is judged at once."""
    del params
    return {QUANTITY: (("above", TELLS),)}


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    return Priority[params.priority.upper()]


_FINE = Verdict(None)
