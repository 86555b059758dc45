"""A certified alarm sounds, and says so by its contact.

It has its own cell, its own battery and its own proof.  So its word is high at once,
and nothing that our own parts measure, or do not, softens it or takes it back.
"""

from collections.abc import Mapping
from typing import Literal

import attrs

from cabinvigil.daemon.core.contacts import URGENT, judge_contacts
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "once"
SHOWN_WITH = ""
AT_ONCE = True
"""No test of the parts, and no trial, keeps it from a phone."""
FIXED = (
    *("means", "on_delay_s", "ack_s", "again_step", "latch"),
    *("suppressed_by", "shelve_s"),
)
"""Keys that nobody makes laxer, whatever he accepts: another's word is not weakened."""


@attrs.frozen
class Params:
    """Whose word it is, and how it sounds."""

    means: Literal["smoke", "gas", "co"]
    sound: Literal["temporal-four", "temporal-three"] = "temporal-four"
    """Of our own sounder: temporal-three is the standard's own evacuation signal
    (ISO 8201), which a smoke alarm plays itself; ours plays it only where asked to."""

    def __attrs_post_init__(self) -> None:
        """Refuse the sound of fire for what is none."""
        if self.sound == "temporal-three" and self.means != "smoke":
            raise ValueError(
                f"sound is temporal-three, which means fire, not {self.means}"
            )


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge whether any certified alarm of this kind rings.

    Returns:
        None where none is known to ring, and not all are known to rest.
    """
    del now  # a word that was given stands until it is taken back
    return judge_contacts(history, params.means, Priority.HIGH)


def urgent(params: Params) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """Return the limit past which each reading is judged at once."""
    del params
    return URGENT


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.HIGH
