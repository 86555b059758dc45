"""A trial as a night's log tells of it: nobody was inside, by somebody's word."""

from collections.abc import Mapping
from typing import Any, NamedTuple

LONGEST_TRIAL_S = 13 * 3600.0
"""A trial of a log lasts no longer, whatever the log says (own choice: an hour more
than the watch allows)."""


class TrialSpan(NamedTuple):
    """A trial, on its run's own time."""

    from_s: float
    to_s: float
    """When it ended, or would have at the latest."""
    text: str
    """What was tried."""
    why: str = ""
    """Why it ended: `command button time limit restart`; '' where its log ends."""

    def ended(self, row: Mapping[str, Any]) -> "TrialSpan":
        """Return it as a later line ends it: its own end, or whatever began then."""
        return self._replace(to_s=row["up_s"], why=_text(row, "why"))


def opened_trial(row: Mapping[str, Any]) -> TrialSpan | None:
    """Return the trial that is open from a line on; None: none is.

    Args:
        row: a line on a trial, or a start, which at the top of a file tells of one.
    """
    text, for_s = _text(row, "trial_text"), row.get("trial_for_s")
    if row.get("state") == "begun":
        text, for_s = _text(row, "text"), row.get("for_s")
    if not isinstance(for_s, int | float) or not for_s > 0.0:
        return None
    up_s: float = row["up_s"]
    return TrialSpan(up_s, up_s + min(for_s, LONGEST_TRIAL_S), text)


def _text(row: Mapping[str, Any], key: str) -> str:
    value = row.get(key, "")
    return value[:200] if isinstance(value, str) else ""
