"""A trial as a night's log tells of it: nobody was inside, by somebody's word."""

from collections.abc import Mapping
from typing import Any, NamedTuple

LONGEST_TRIAL_S = 13 * 3600.0
"""A trial of a log lasts no longer, whatever the log says (our choice: an hour more
than the monitor allows)."""


AIRED_S = 1800.0
"""A cabin whose door stands open is aired by then (our choice)."""
NEVER_S = float("-inf")
IN_THE_CABIN = ("button", "socket")
ENDS = {"trial-end": "command", "acknowledge": "button", "reset": "button"}
"""Acts that end a trial, and why it then ended (core/trial.py)."""


class TrialSpan(NamedTuple):
    """A trial, on its run's own time."""

    from_s: float
    to_s: float
    """When it ended, or would have at the latest."""
    text: str
    """What was tried."""
    why: str = ""
    """Why it ended: `command button time limit restart`, or `lost`, where its own end
    is; '' where its log ends."""
    marked_s: float = NEVER_S
    """When a line of air last said that it was measured in it."""

    def after_air(self, row: Mapping[str, Any]) -> "TrialSpan":
        """Return it as a line of air tells of it: one without its mark is the night's.

        Logs from before the mark have none, and such a trial lasts to its latest end.
        """
        if row.get("trial") is True:
            return self._replace(marked_s=row["up_s"])
        if self.marked_s == NEVER_S:
            return self
        return self._replace(to_s=self.marked_s, why="lost")

    def after_act(self, row: Mapping[str, Any]) -> "TrialSpan":
        """Return it as an act tells of it: some end a trial, by whose line ever."""
        if row.get("by") not in IN_THE_CABIN or row.get("act") not in ENDS:
            return self
        return self._replace(to_s=row["up_s"], why=ENDS[row["act"]])

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
