"""Water stands in the bilge, and has lifted the float switch.

`medium`: somebody must get up, find where it comes in and pump, and has minutes for it,
which gas does not leave.  `high` would sound like gas and say to get out, and a boat is
left last of all; who wants it none the less raises `priority`.
"""

from collections.abc import Mapping
from typing import Literal

import attrs

from cabinvigil.daemon.core.contacts import URGENT, judge_contacts
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "once"
ABOUT_AIR = False
SHOWN_WITH = ""
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
    return judge_contacts(history, "bilge", Priority[params.priority.upper()])


def urgent(params: Params) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """Return the limit past which each reading is judged at once."""
    del params
    return URGENT


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    return Priority[params.priority.upper()]
