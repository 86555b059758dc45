"""Decides when systemd's watchdog may be fed: steps completed, and a live sound loop.

A bare timer would go on feeding while everything else hangs.  So the ticker looks here
after each completed step, and a long tick's pauses are bridged from the same loop: for
one tick and a little from the last step, or from when the first was scheduled.
"""

import asyncio
import socket
from collections.abc import Callable, Mapping
from contextlib import suppress
from math import isfinite

SLACK_S = 5.0
"""A step may be late by so much before feeding stops."""
BUZZER_STALE_S = 5.0
"""The sound loop goes round every half second; ten rounds missed is a dead one."""
SOUND_LOOK_S = 0.05
"""Between two looks at whether it has gone round at all, at the start."""


async def until_it_goes_round(alive_at_s: Callable[[], float] | None) -> None:
    """Wait for the sound loop's first round; for none where there is no buzzer."""
    # It is a thread that is waited for: nothing of it could set an asyncio.Event.
    while alive_at_s is not None and not isfinite(alive_at_s()):  # noqa: ASYNC110
        await asyncio.sleep(SOUND_LOOK_S)


class Watchdog:
    """Feeds, or does not."""

    def __init__(
        self,
        notifier: "Notifier",
        period_s: float | None,
        buzzer_alive_at_s: Callable[[], float] | None,
    ) -> None:
        """Set it up.

        Args:
            notifier: to systemd.
            period_s: between two feedings; None: systemd has no watchdog on us.
            buzzer_alive_at_s: when the sound loop last went round, on the clock of
                `now_s`; None where no buzzer is configured.
        """
        self._notifier = notifier
        self.period_s = period_s
        """How often to look."""
        self._tick_s = 0.0
        self._buzzer_alive_at_s = buzzer_alive_at_s
        self._stepped_s = float("-inf")
        self._fed_s = float("-inf")

    def begin(self, now_s: float, tick_s: float) -> None:
        """Begin to wait for steps: the first is due within a tick from now.

        Args:
            now_s: when the first tick was scheduled: the start, or a reload.
            tick_s: the longest honest time between two steps.
        """
        self._tick_s = tick_s
        self._stepped_s = now_s

    def stepped(self, now_s: float) -> None:
        """Note a completed step, and feed where it is time."""
        self._stepped_s = now_s
        self.look(now_s)

    async def bridge(self, now: Callable[[], float]) -> None:
        """Look between long ticks, from their loop."""
        while self.period_s is not None:
            await asyncio.sleep(self.period_s)
            self.look(now())

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
        """Return what is dead; '' for nothing."""
        if now_s - self._stepped_s > self._tick_s + SLACK_S:
            return "no step has been completed"
        alive = self._buzzer_alive_at_s
        if alive is not None and now_s - alive() > BUZZER_STALE_S:
            return "the sound loop has stopped"
        return ""


LONGEST_US = 3_600_000_000
"""A watchdog of more than an hour guards nobody: fed as for one."""


class Notifier:
    """Says `READY`, `WATCHDOG` and the like; silent where systemd did not ask."""

    def __init__(self, environ: Mapping[str, str]) -> None:
        """Take the socket's name from the environment that systemd gave."""
        name = environ.get("NOTIFY_SOCKET", "")
        # An '@' stands for the zero byte of the abstract namespace (sd_notify(3)).
        self._address = "\0" + name[1:] if name.startswith("@") else name

    @property
    def is_asked(self) -> bool:
        """Whether systemd waits for our word."""
        return bool(self._address)

    def ready(self, status: str) -> None:
        """Say that the sounder can sound and the first step is scheduled."""
        self._send(f"READY=1\nSTATUS={_line(status)}")

    def status(self, status: str) -> None:
        """Say in one line how it stands; `systemctl status` shows it."""
        self._send(f"STATUS={_line(status)}")

    def feed(self) -> None:
        """Say that all is alive: feeds the service watchdog."""
        self._send("WATCHDOG=1")

    def reloading(self, monotonic_s: float) -> None:
        """Say that a new config is being read; `ready` ends it."""
        self._send(f"RELOADING=1\nMONOTONIC_USEC={round(monotonic_s * 1e6)}")

    def stopping(self) -> None:
        """Say that it ends in order."""
        self._send("STOPPING=1")

    def _send(self, text: str) -> None:
        if not self._address:
            return
        # Whatever is wrong with systemd's socket, the monitor goes on.
        with (
            suppress(OSError, ValueError),
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as s,
        ):
            s.setblocking(False)
            s.sendto(text.encode("utf-8", "replace"), self._address)


def watchdog_period_s(environ: Mapping[str, str], pid: int) -> float | None:
    """Return how often to feed: a third of what the unit allows; None: no watchdog.

    Args:
        environ: as systemd gave it.
        pid: ours; systemd may name another process's.
    """
    if environ.get("WATCHDOG_PID", str(pid)) != str(pid):
        return None
    try:
        allowed_us = int(environ.get("WATCHDOG_USEC", ""))
    except ValueError:
        return None
    return min(allowed_us, LONGEST_US) / 3e6 if allowed_us > 0 else None


def _line(text: str) -> str:
    return " ".join(text.split())[:200]
