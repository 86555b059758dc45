"""The clocks: one steady, one of the wall, and a virtual pair."""

import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from cabinvigil.daemon.clock import SystemClock, VirtualClock, is_clock_set


class Loop:
    def __init__(self, now_s: float = 0.0) -> None:
        self.now_s = now_s

    def time(self) -> float:
        return self.now_s


def test_steady_time_never_steps_back() -> None:
    """Many readings in a row never fall, and they do advance."""
    clock = SystemClock()
    readings = [clock.monotonic() for _ in range(1000)]
    assert readings == sorted(readings)
    assert readings[-1] > readings[0]


def test_steady_time_counts_suspended_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """The steady clock is the boot-time clock: equal to the kernel's uptime.

    A machine that never slept cannot tell it from the plain one, so the clock that is
    asked is looked at too (clock_gettime(2): CLOCK_BOOTTIME includes suspends).
    """
    with open("/proc/uptime") as file:
        uptime_s = float(file.read().split()[0])
    # proc(5): uptime includes time spent in suspend; printed to 0.01 s.
    assert SystemClock().monotonic() == pytest.approx(uptime_s, abs=1.0)
    asked: list[int] = []
    monkeypatch.setattr(time, "clock_gettime", lambda which: asked.append(which) or 1.0)
    assert SystemClock().monotonic() == 1.0
    assert asked == [time.CLOCK_BOOTTIME]


def test_wall_time_is_utc_and_aware() -> None:
    """Wall stamps carry their zone."""
    assert SystemClock().wall().utcoffset() == timedelta(0)


def test_virtual_clock_follows_its_loop() -> None:
    """Both times move with the loop alone, and the wall starts where it was put."""
    loop = Loop(100.0)
    start = datetime(2025, 1, 14, 21, 0, tzinfo=timezone(timedelta(hours=1)))
    clock = VirtualClock(loop, start)
    loop.now_s = 3700.0
    assert clock.monotonic() == 3700.0
    assert clock.wall() == datetime(2025, 1, 14, 21, 0, tzinfo=UTC)
    assert clock.wall().utcoffset() == timedelta(0)


def test_virtual_clock_wants_a_zone() -> None:
    """A start without a time zone is refused with a sentence."""
    with pytest.raises(ValueError, match="has no time zone"):
        VirtualClock(Loop(), datetime(2025, 1, 14, 21, 0))  # noqa: DTZ001


def test_a_clock_is_vouched_for_by_the_time_daemons_file(tmp_path: Path) -> None:
    """There: set by the network.  Not there yet: not.  No such daemon: nobody says."""
    assert is_clock_set(tmp_path) is False
    (tmp_path / "synchronized").touch()
    assert is_clock_set(tmp_path) is True
    assert is_clock_set(tmp_path / "none") is None
