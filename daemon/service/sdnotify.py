"""Tells systemd how the daemon stands: a datagram to its socket (sd_notify(3)).

A few lines, and no package: those that exist are old, or build against C.
"""

import socket
from collections.abc import Mapping
from contextlib import suppress

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
        """Say that the first step is completed and the watch is on."""
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
        # Whatever is wrong with systemd's socket, the watch goes on.
        with (
            suppress(OSError, ValueError),
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as s,
        ):
            s.setblocking(False)
            s.sendto(text.encode("utf-8", "replace"), self._address)


def watchdog_period_s(environ: Mapping[str, str], pid: int) -> float | None:
    """Say how often to feed: a third of what the unit allows; None: no watchdog.

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
