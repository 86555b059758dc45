"""Whether the machine has a clock that keeps the time while it has no power.

Pure, but for `clock_chips`, which reads the kernel's own folder.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.precheck.findings import Finding

FOLDER = Path("/sys/class/rtc")
"""One folder each (Linux, Documentation/ABI/testing/rtc-cdev and sysfs-class-rtc, from
memory)."""
LEAST_CELL_V = 2.0
"""A lithium cell for clocks ends there, manganese ones likewise (unverified); without
one the Pi 5 measures next to nothing."""
MOST_OFF_S = 60.0
"""A chip strays by seconds a week (unverified); a minute is no drift (our choice)."""
SUBJECT = "clock chip"


@dataclass(frozen=True, slots=True)
class ClockChip:
    """What the kernel tells of one."""

    name: str
    """Of its driver, such as `rtc-ds1307`."""
    shows: datetime | None
    """None: it does not say, as chips do that have lost the time."""
    cell_v: float | None = None
    """Of its cell, where the chip measures it: the Pi 5's own does."""


def clock_chips(folder: Path = FOLDER) -> list[ClockChip]:
    """Return the clock chips that the kernel knows."""
    try:
        chips = sorted(folder.iterdir())
    except OSError:
        return []
    return [_chip(chip) for chip in chips]


def _chip(folder: Path) -> ClockChip:
    shows_s = _number(folder / "since_epoch")
    shows: datetime | None = None
    if shows_s is not None:
        try:
            shows = datetime.fromtimestamp(shows_s, UTC)
        except (OverflowError, OSError, ValueError):
            shows = None
    microvolts = _number(folder / "battery_voltage")
    return ClockChip(
        _text(folder / "name").partition(" ")[0] or folder.name,
        shows,
        None if microvolts is None else microvolts / 1e6,
    )


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        return ""


def _number(path: Path) -> float | None:
    try:
        return float(int(_text(path)))
    except (ValueError, OverflowError):
        return None


def clock_chip(
    chips: Sequence[ClockChip], wall: datetime, *, is_synchronised: bool | None
) -> Finding:
    """Judge whether the time survives a night without power.

    Args:
        chips: all that there are; one that is well is enough.
        wall: the machine's time.
        is_synchronised: whether the network has set that since the start.
    """
    if not chips:
        return Finding(
            SUBJECT,
            "mind",
            "none: after a power cut the time is wrong until a network sets it, and "
            "until then no acknowledgement from a phone counts, and nights and "
            "calibrations get a wrong date; fit one with a cell of its own "
            "(hardware.md, The clock)",
        )
    found = [_judged(one, wall, is_synchronised=is_synchronised) for one in chips]
    return _best(found)


def _best(found: Iterable[Finding]) -> Finding:
    return min(found, key=lambda one: one.word != "good")


def _judged(
    chip: ClockChip, wall: datetime, *, is_synchronised: bool | None
) -> Finding:
    name = chip.name
    if chip.cell_v is not None and chip.cell_v < LEAST_CELL_V:
        text = (
            f"{name} has no cell, or an empty one ({chip.cell_v:.1f} V): after a power "
            "cut the time is wrong until a network sets it; plug a cell in"
        )
        return Finding(SUBJECT, "mind", text)
    if chip.shows is None or chip.shows < EARLIEST:
        text = (
            f"{name} has lost the time: set the machine's, then `sudo hwclock -w`; if "
            "it comes back, change its cell"
        )
        return Finding(SUBJECT, "mind", text)
    off_s = abs((chip.shows - wall).total_seconds())
    if is_synchronised and off_s > MOST_OFF_S:
        text = f"{name} is {off_s / 60.0:.0f} min off the network: `sudo hwclock -w`"
        return Finding(SUBJECT, "mind", text)
    cell = "" if chip.cell_v is None else f", its cell has {chip.cell_v:.1f} V"
    return Finding(SUBJECT, "good", f"{name} keeps the time without power{cell}")
