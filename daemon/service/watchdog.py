"""Decides when systemd's watchdog may be fed: steps completed, and a live sound loop.

A bare timer would go on feeding while everything else hangs.  So the ticker looks here
after each completed step, and a long tick's pauses are bridged from the same loop.
"""

from collections.abc import Callable

from cabinvigil.daemon.service.sdnotify import Notifier

SLACK_S = 5.0
"""A step may be late by so much before feeding stops."""
BUZZER_STALE_S = 5.0
"""The sound loop goes round every half second; ten rounds missed is a dead one."""


class Watchdog:
    """Feeds, or does not."""

    def __init__(
        self,
        notifier: Notifier,
        period_s: float | None,
        tick_s: float,
        buzzer_alive_at_s: Callable[[], float] | None,
    ) -> None:
        """Set it up.

        Args:
            notifier: to systemd.
            period_s: between two feedings; None: systemd has no watchdog on us.
            tick_s: the longest honest time between two steps.
            buzzer_alive_at_s: when the sound loop last went round, on the clock of
                `now_s`; None where no buzzer is configured.
        """
        self._notifier = notifier
        self.period_s = period_s
        """How often to look."""
        self._tick_s = tick_s
        self._buzzer_alive_at_s = buzzer_alive_at_s
        self._stepped_s = float("-inf")
        self._fed_s = float("-inf")

    def stepped(self, now_s: float) -> None:
        """Note a completed step, and feed where it is time."""
        self._stepped_s = now_s
        self.look(now_s)

    def look(self, now_s: float) -> bool:
        """Feed where it is time and all is alive; return whether all is."""
        is_alive = self.why_not(now_s) == ""
        if self.period_s is None or not is_alive:
            return is_alive
        # Half a period early rather than late: ticks seldom fall on the mark.
        if now_s - self._fed_s >= self.period_s / 2:
            self._fed_s = now_s
            self._notifier.feed()
        return True

    def why_not(self, now_s: float) -> str:
        """Say what is dead; '' for nothing."""
        if now_s - self._stepped_s > self._tick_s + SLACK_S:
            return "no step has been completed"
        alive = self._buzzer_alive_at_s
        if alive is not None and now_s - alive() > BUZZER_STALE_S:
            return "the sound loop stands still"
        return ""
