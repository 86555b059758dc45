"""Whether another monitor bears this cabin's name at the same broker. Pure.

A broker lets one client of a name in and throws the other out, mosquitto 2.0.11 without
a word: each watch then sees a network that breaks every half minute.  What betrays the
other is its `presence` in the place of ours, under another run.
"""

from cabinvigil.daemon.outputs.mqtt.broker import LONGEST_WAIT_S

QUIET_S = 2.0 * LONGEST_WAIT_S
"""A connection that held for so long was fought over by nobody: the other watch would
have come back from its longest wait."""


class RivalWatch:
    """Over all connections of one run."""

    def __init__(self, run: str) -> None:
        """Set it up.

        Args:
            run: ours, as the user property of `presence` has it.
        """
        self._run = run
        self._has_spoken = False
        self._seen_s: float | None = None

    def spoke(self) -> None:
        """Note that the broker has our own presence."""
        self._has_spoken = True

    def heard(self, run: str, now_s: float) -> None:
        """Take the run of a presence that came in; '' where none is given.

        Before we have spoken it is the monitor's own, of a run before this one.
        """
        if self._has_spoken and run and run != self._run:
            self._seen_s = now_s

    def is_there(self, now_s: float) -> bool:
        """Return whether another monitor was heard of late."""
        return self._seen_s is not None and now_s - self._seen_s < QUIET_S
