"""One alarm as it was and as it would have been: when it noted, woke, ordered out."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.text.json import rounded
from cabinvigil.daemon.text.moments import time_or_elapsed, utc_seconds

Change = Literal["gained", "lost", "earlier", "later", "same"]
CHANGES: tuple[Change, ...] = ("gained", "lost", "earlier", "later")
SAME_S = 10.0
"""Rings this close are the same ring (the trend's own step)."""
PAIRED_S = 2 * 3600.0
"""Rings of one alarm further apart than this are two events."""


@dataclass(slots=True)
class LimitRing:
    """One alarm begins to sound, or rises to a graver priority."""

    at_s: float
    """From the night's first line."""
    priority: Priority
    """The one that it has from this moment on."""
    wall: datetime | None = None
    """Its moment, by the clock as it was at last set, in the night's own zone; None:
    no clock."""


Episode = list[LimitRing]
"""All of one sounding: its beginning, then each rise."""


@dataclass(frozen=True, slots=True)
class RingDiff:
    """One priority of one sounding, as it was and as it would have been."""

    night: str
    alarm: str
    change: Change
    was: LimitRing | None
    """The first that was at least as grave; None: none was."""
    would: LimitRing | None
    priority: str
    """The one compared."""

    @property
    def moved_min(self) -> float | None:
        """Minutes later (negative: earlier); None where it sounded once only."""
        if self.was is None or self.would is None:
            return None
        return (self.would.at_s - self.was.at_s) / 60.0


def differences(
    night: str, alarm: str, own: Sequence[Episode], would: Sequence[Episode]
) -> Iterator[RingDiff]:
    """Yield a row for each priority that a sounding reached, then or under the limits.

    A sounding that is first noted at the same moment may still wake people later.
    """
    for was, now in _paired(own, would):
        for priority in sorted({ring.priority for ring in (*was, *now)}):
            pair = _reached(was, priority), _reached(now, priority)
            yield RingDiff(night, alarm, _change(*pair), *pair, priority.word)


def _reached(episode: Episode, priority: Priority) -> LimitRing | None:
    """Return when it first was at least as grave."""
    return next((ring for ring in episode if ring.priority >= priority), None)


def _paired(
    own: Sequence[Episode], would: Sequence[Episode]
) -> Iterator[tuple[Episode, Episode]]:
    """Pair soundings in order; what has no fellow near stands alone."""
    left, right = list(own), list(would)
    while left or right:
        if left and right and _is_near(left[0], right[0]):
            yield left.pop(0), right.pop(0)
        elif right and (not left or right[0][0].at_s < left[0][0].at_s):
            yield [], right.pop(0)
        else:
            yield left.pop(0), []


def _is_near(one: Episode, other: Episode) -> bool:
    """Return whether they began, or rose to the same priority, near each other."""
    pairs = [(one[0], other[0])]
    pairs += [(a, b) for a in one for b in other if a.priority is b.priority]
    return any(abs(a.at_s - b.at_s) <= PAIRED_S for a, b in pairs)


def _change(was: LimitRing | None, now: LimitRing | None) -> Change:
    if was is None or now is None:
        return "gained" if was is None else "lost"
    if abs(now.at_s - was.at_s) <= SAME_S:
        return "same"
    return "earlier" if now.at_s < was.at_s else "later"


def lines(rows: Iterable[RingDiff]) -> Iterator[str]:
    """Write the verdict, then each change; what stays the same is counted alone."""
    rows = list(rows)
    counts: Counter[Change] = Counter(row.change for row in rows)
    summary = ", ".join(f"{counts[one]} {one}" for one in CHANGES if counts[one])
    yield f"{summary or 'Nothing changes'}, {counts['same']} the same."
    changed = [row for row in rows if row.change != "same"]
    if changed:
        yield f"{'night':<18} {'alarm':<22} {'was':<6} {'would':<6} change"
    for row in changed:
        times = f"{_clock(row.was):<6} {_clock(row.would):<6}"
        moved = row.moved_min
        tail = row.change if moved is None else f"{abs(moved):.1f} min {row.change}"
        yield f"{row.night:<18} {row.alarm:<22} {times} {tail} ({row.priority})"


def _clock(ring: LimitRing | None) -> str:
    return "-" if ring is None else time_or_elapsed(ring.wall, ring.at_s)


def as_json(row: RingDiff) -> dict[str, Any]:
    """Return a row as one JSON object; moments are UTC, null without a clock."""
    return {
        "night": row.night,
        "alarm": row.alarm,
        "change": row.change,
        "was_s": None if row.was is None else row.was.at_s,
        "would_s": None if row.would is None else row.would.at_s,
        "was_at": _moment(row.was),
        "would_at": _moment(row.would),
        "moved_min": rounded(row.moved_min, 2),
        "priority": row.priority,
    }


def _moment(ring: LimitRing | None) -> str | None:
    return None if ring is None else utc_seconds(ring.wall)
