"""What may happen to a night's record, drawn at random."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from random import Random
from zoneinfo import ZoneInfo

HOUR = 3600.0
OTHER_H = 5.0
"""How long the nights before and after are."""
EVERY_S = 60.0
"""A line of air each minute: what is tried here is time, not air."""
ZONES: Mapping[str, tuple[str, ...]] = {
    # An evening before the clock goes forward, one before it goes back, and another.
    "Europe/Oslo": ("2026-03-28", "2026-10-24", "2026-01-16"),
    "America/Los_Angeles": ("2026-03-07", "2026-10-31", "2026-12-24"),
    "Australia/Lord_Howe": ("2026-10-03", "2026-04-04", "2026-07-01"),  # half an hour
    "Pacific/Chatham": ("2026-09-26", "2026-04-04", "2026-07-01"),
    "America/St_Johns": ("2026-03-07", "2026-10-31", "2026-02-28"),
    "Asia/Kolkata": ("2026-01-16", "2026-05-31", "2026-12-31"),
    "UTC": ("2026-01-16", "2026-02-28", "2026-12-31"),
}
"""Dates by the tz database; IANA publishes it."""
AIRS = ("quiet", "flat", "crowded", "icing", "shut", "sooty")
CLOCKS = ("right", "1970", "saved", "ahead", "behind")


@dataclass(frozen=True)
class Cut:
    """The power goes, and comes back."""

    at_s: float
    for_s: float
    clock: str
    """What it shows then, until it is set: a word of `CLOCKS`."""
    off_s: float
    """How far it is off, where it is ahead or behind."""
    set_after_s: float | None
    """None: not in this run."""


@dataclass(frozen=True)
class Course:
    """A night, and all that happens to its record."""

    zone: str
    begins: datetime
    hours: float
    first: Cut
    """How its clock stands at the start."""
    cuts: tuple[Cut, ...] = ()
    reloads_s: tuple[float, ...] = ()
    rings: tuple[tuple[float, float], ...] = ()
    """From when to when an alarm stood."""
    air: str = "quiet"
    """A named night of the rehearsal."""
    is_after_another: bool = True
    """The night before was a bad one, and is in the folder."""
    is_before_another: bool = False


def draw(random: Random) -> Course:
    """Draw a course."""
    zone = random.choice(list(ZONES))
    evening = date.fromisoformat(random.choice(ZONES[zone]))
    # A night shift, too: to bed at any hour.
    bed_h = random.choice((20.0, 22.5, 18.2, 23.9, 1.0, 5.0, 9.0))
    begins = datetime.combine(evening, datetime.min.time(), ZoneInfo(zone))
    begins = begins.astimezone(UTC) + timedelta(hours=bed_h)
    hours = random.uniform(5.0, 8.9)
    cuts, at_s = [], 0.0
    for _ in range(random.choice((0, 1, 1, 2, 4))):
        at_s += random.uniform(0.3, 0.5 * hours) * HOUR
        cut = _cut(random, at_s)
        at_s += cut.for_s
        if at_s >= (hours - 0.4) * HOUR:
            break
        cuts.append(cut)
    ends = [cut.at_s for cut in cuts] + [hours * HOUR]
    starts = [0.0] + [cut.at_s + cut.for_s for cut in cuts]
    runs = [end - start for start, end in zip(starts, ends, strict=True)]
    first, *rest = (
        _possible(cut, length_s, is_last=n == len(cuts))
        for n, (cut, length_s) in enumerate(
            zip((_cut(random, 0.0), *cuts), runs, strict=True)
        )
    )
    # How long the power was off nobody knows after a run without a clock.
    # Nor can anybody tell where a clock that is late for want of a battery is right.
    for n, (before, cut) in enumerate(pairwise((first, *rest))):
        if before.set_after_s is None and before.clock != "right":
            clock = before.clock
            set_s = cut.set_after_s or 30.0
            rest[n] = replace(cut, for_s=600.0, clock=clock, set_after_s=set_s)
    rings = []
    for _ in range(random.randrange(3)):
        from_s = random.uniform(0.0, hours - 0.3) * HOUR
        rings.append((from_s, from_s + random.uniform(120.0, 900.0)))
    return Course(
        zone,
        begins,
        hours,
        first,
        tuple(rest),
        tuple(random.uniform(0.0, hours * HOUR) for _ in range(random.randrange(3))),
        tuple(rings[:1]),
        random.choice(AIRS),
        random.random() < 0.7,
        random.random() < 0.3,
    )


def _cut(random: Random, at_s: float) -> Cut:
    clock = random.choice(CLOCKS)
    off_s = random.choice((600.0, HOUR, 5 * HOUR, 30 * HOUR, 120 * 24 * HOUR))
    if clock == "behind":
        off_s = random.choice((600.0, HOUR))
    set_after_s = random.choice((30.0, 300.0, 2 * HOUR, None))
    return Cut(at_s, random.uniform(30.0, 1.5 * HOUR), clock, off_s, set_after_s)


def _possible(cut: Cut, length_s: float, *, is_last: bool) -> Cut:
    """Leave out what nobody could read back: a clock that is wrong, and never set.

    Where the time daemon says that it was not set, the next run tells; else the last
    look is believed.
    """
    set_s = cut.set_after_s
    if set_s is not None and set_s > 0.8 * length_s:
        set_s = 0.5 * length_s
    if set_s is None and cut.clock in ("ahead", "behind"):
        set_s = 0.5 * length_s
    if set_s is None and is_last and cut.clock != "right":
        set_s = 0.5 * length_s
    if set_s is None and cut.clock == "saved" and cut.at_s > 0.0:
        set_s = 0.5 * length_s  # it was right, less the time without power
    return replace(cut, set_after_s=set_s)
