"""The machine under the monitor: its clock's steps, its heat, its supply.

A Pi without a battery clock boots years off and is stepped when a network comes.
Nothing is decided by wall time, so a step changes nothing here; it is told and logged,
so that the morning review can put right the times before it.
"""

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.text.durations import rough
from cabinvigil.daemon.text.units_said import SI, Units, units_named
from cabinvigil.daemon.threads.worker import OverdueError, Worker

EVERY_S = 10.0
STEP_S = 2.0
"""A clock that moves by this much against the monotonic one was stepped; slewing by
a time daemon is at most 0.05 % (unverified), 5 ms in ten seconds."""
TOLD_FOR_S = 50.0
"""A step stands as a fault for this long, so that it is seen; over with the next look,
so within a minute, as every fault (our choice)."""
HOT_C = 80.0
COOL_C = 75.0
"""A Pi slows itself from 80 degrees on (maker's documentation, unverified)."""
THERMAL = Path("/sys/class/thermal/thermal_zone0/temp")
HWMON = Path("/sys/class/hwmon")
LOOK_S = 5.0
"""For the kernel to say so: it asks the Pi's firmware, which may be busy (own)."""


def cpu_c(path: Path = THERMAL) -> float | None:
    """Return the processor's temperature in degrees, or None where none is told."""
    try:
        return int(path.read_text(encoding="ascii")) / 1000.0
    except (OSError, ValueError):
        return None


def is_under_volted(folder: Path = HWMON) -> bool | None:
    """Return whether the Pi's own monitor has seen its supply sag; None: no monitor."""
    for name in _entries(folder):
        try:
            if (name / "name").read_text(encoding="ascii").strip() != "rpi_volt":
                continue
            return (name / "in0_lcrit_alarm").read_text(encoding="ascii").strip() == "1"
        except (OSError, ValueError):
            continue
    return None


def _entries(folder: Path) -> Iterable[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return ()


@dataclass(frozen=True, slots=True)
class HostLook:
    """One look at the machine."""

    monotonic_s: float
    wall: datetime
    cpu_c: float | None
    is_under_volted: bool | None


Tell = Callable[[SourceFault | SourceOk], None]


class HostWatch:
    """Compares each look with the one before and shows what went wrong."""

    def __init__(self, tell: Tell, units: Units = SI) -> None:
        """Take where faults and their ends go, and in which units they are told."""
        self._tell = tell
        self._units = units
        self._last: HostLook | None = None
        self._stepped_s: float | None = None
        self._is_hot = False
        self._is_sagging = False

    def look(self, seen: HostLook) -> None:
        """Take one look."""
        self._clock(seen)
        self._heat(seen)
        self._supply(seen)
        self._last = seen

    def _clock(self, seen: HostLook) -> None:
        last = self._last
        if last is None:
            return
        passed_s = seen.monotonic_s - last.monotonic_s
        step_s = (seen.wall - last.wall).total_seconds() - passed_s
        if abs(step_s) >= STEP_S:
            way = "forward" if step_s > 0 else "back"
            text = (
                f"the clock was set {way} by {rough(abs(step_s))}; no alarm depends "
                "on it, and the morning page corrects earlier times"
            )
            self._stepped_s = seen.monotonic_s
            self._tell(SourceFault("clock", "clock-stepped", text))
        elif (
            self._stepped_s is not None
            and seen.monotonic_s - self._stepped_s >= TOLD_FOR_S
        ):
            self._stepped_s = None
            self._tell(SourceOk("clock"))

    def _heat(self, seen: HostLook) -> None:
        if seen.cpu_c is None:
            return
        if seen.cpu_c >= HOT_C and not self._is_hot:
            self._is_hot = True
            heat = self._units.said("c", seen.cpu_c)
            text = f"the Pi is at {heat} and slows itself down; cool it"
            self._tell(SourceFault("host", "too-hot", text))
        elif seen.cpu_c <= COOL_C and self._is_hot:
            self._is_hot = False
            self._tell(SourceOk("host"))

    def _supply(self, seen: HostLook) -> None:
        if seen.is_under_volted is None or seen.is_under_volted is self._is_sagging:
            return
        self._is_sagging = seen.is_under_volted
        if self._is_sagging:
            text = "the Pi's 5 V power supply sags; check its cable and converter"
            self._tell(SourceFault("supply", "under-volted", text))
        else:
            self._tell(SourceOk("supply"))


def _measured() -> tuple[float | None, bool | None]:
    return cpu_c(), is_under_volted()


async def watch_host(
    clock: Clock,
    tell: Tell,
    units: str = SI.word,
    measure: Callable[[], tuple[float | None, bool | None]] = _measured,
) -> None:
    """Look again and again, for ever; a kernel that does not respond holds up nothing.

    Args:
        clock: of both times.
        tell: takes faults, on the loop.
        units: in which people are told, as the config names them.
        measure: heat and supply, as `HostLook` has them; may block.
    """
    host, worker = HostWatch(tell, units_named(units)), Worker("host")
    health = FaultLatch("host", tell)
    while True:
        try:
            heat_c, sags = await worker.call(measure, LOOK_S)
            health.ok()
        except OverdueError:
            heat_c = sags = None
            text = (
                "The kernel does not report the Pi's temperature or its power supply."
            )
            health.fault("blocked", text)
        host.look(HostLook(clock.monotonic(), clock.wall(), heat_c, sags))
        await asyncio.sleep(EVERY_S)
