"""The only reader of time: seconds that never step, and the wall time for stamps."""

import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

# The boot-time clock counts on through a suspend, so that a value read before the
# machine slept is old when it wakes; the plain monotonic clock would call it fresh
# (clock_gettime(2)).  It also needs no file that a hardened unit may hide.
_STEADY = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


TIME_DAEMON = Path("/run/systemd/timesync")
"""Of systemd-timesyncd, which makes `synchronized` there once it has set the clock
(systemd-timesyncd.service(8))."""


def is_clock_set(folder: Path = TIME_DAEMON) -> bool | None:
    """Return whether the network has set the clock since the boot.

    Returns:
        None where no time daemon tells.
    """
    try:
        return (folder / "synchronized").exists() if folder.exists() else None
    except OSError:
        return None


class Clock(Protocol):
    """What everything that needs the time is given."""

    def monotonic(self) -> float:
        """Return seconds since some fixed moment; never steps back."""
        ...

    def wall(self) -> datetime:
        """Return the UTC wall time, time zone aware; for stamps and nights alone."""
        ...


class SystemClock:
    """The machine's own clocks."""

    def monotonic(self) -> float:
        """Return seconds since the machine started, suspended time included."""
        return time.clock_gettime(_STEADY)

    def wall(self) -> datetime:
        """Return the machine's UTC wall time."""
        return datetime.now(UTC)


def edge_clock_ns() -> int:
    """Return the clock by which the kernel stamps a line's edges, in nanoseconds."""
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC)


class TimeSource(Protocol):
    """Anything with a running time in seconds: an asyncio event loop."""

    def time(self) -> float:
        """Return the present time in seconds."""
        ...


class VirtualClock:
    """A clock that follows an event loop's own time, for rehearsals and tests."""

    def __init__(self, loop: TimeSource, start_wall: datetime) -> None:
        """Set the wall time that belongs to the loop's present.

        Args:
            loop: whose time to follow.
            start_wall: time zone aware; read as UTC.

        Raises:
            ValueError: `start_wall` has no time zone.
        """
        if start_wall.tzinfo is None:
            msg = f"the start {start_wall} has no time zone: give it one, such as UTC"
            raise ValueError(msg)
        self._loop = loop
        self._start_s = loop.time()
        self._start_wall = start_wall.astimezone(UTC)

    def monotonic(self) -> float:
        """Return the loop's time."""
        return self._loop.time()

    def wall(self) -> datetime:
        """Return the start's wall time plus the loop's time since."""
        return self._start_wall + timedelta(seconds=self._loop.time() - self._start_s)


EARLIEST = datetime(2025, 1, 1, tzinfo=UTC)
"""No clock that is right shows less: this software is younger."""
