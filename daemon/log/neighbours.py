"""Which files beside those of its own date may hold some of a night.

A Pi without a battery clock names its file by the clock that it has: the first hours of
a night stand in a file of another date, and the file that the run goes on in once the
network has set the clock says so in its first line.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.log.folder import NightFile, night_of
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.log.number import first_line, number_in
from cabinvigil.daemon.log.periods import LONGEST_BREAK_S, LONGEST_NIGHT_S, noon_s
from cabinvigil.daemon.log.reader import moment

NEAR_S = 120.0
"""A file that goes on at noon begins within two ticks of the slowest watch
(config/README.md) after it."""
CLOCK_SET_S = 60.0
"""A clock that was set by less moves no run to another night."""


MOST_FILES = 200
"""Files looked at to either side: a night of restarts has some dozens."""
DAY_S = 24 * 3600.0


@dataclass(frozen=True, slots=True)
class Head:
    """What the first line of a file says of its place."""

    goes_on: bool = False
    """It continues a run of the file before, perhaps with another config."""
    up_s: float = 0.0
    wall: datetime | None = None
    """None where no clock that can be right tells."""
    zone: tzinfo | None = None
    number: int = 0
    is_read: bool = False
    """False where the line is damaged."""
    run: str = ""
    """The name of its run; '' in a log of before it had one."""
    resumes: bool = False
    """It starts a run, and there was one before it that may be of the same night."""

    @property
    def began_s(self) -> float | None:
        """When its run began, in seconds of the epoch, by the clock of this line."""
        return None if self.wall is None else self.wall.timestamp() - self.up_s


def head_of(path: Path) -> Head:
    """Read the first line of a file; what cannot be read tells nothing."""
    line = first_line(path)
    wall, up_s, run = moment(line.get("t")), line.get("up_s"), line.get("run")
    if not isinstance(up_s, int | float):
        return Head()
    return Head(
        line.get("continues") is True or line.get("reload") is True,
        float(up_s),
        wall if wall is not None and wall >= EARLIEST else None,
        zone_of(line),
        number_in(line),
        is_read=True,
        run=run if isinstance(run, str) else "",
        resumes=_resumes(line),
    )


def _resumes(line: Mapping[str, Any]) -> bool:
    """Return whether a start knew of a run before it that may be of the same night."""
    down_s = line.get("down_s")
    is_soon = not isinstance(down_s, int | float) or down_s <= LONGEST_BREAK_S
    return line.get("kept") is not None and is_soon


def zone_by_names(heads: Sequence[tuple[Head, date]]) -> tzinfo | None:
    """Find by which noons files are named that do not tell it, or not by a known name.

    A file begins after its night's noon, however late; one that goes on begins just
    then.  So it is the latest noon that fits them all.

    Args:
        heads: each with the night that its file is named by.

    Returns:
        None where none does, or all files tell.
    """
    walls = [
        (head.wall, night)
        for head, night in heads
        if head.wall is not None and head.zone is None
    ]
    zones = (timezone(timedelta(minutes=m)) for m in range(-12 * 60, 15 * 60, 15))
    fits = (
        zone
        for zone in zones
        if walls and all(night_of(wall, zone) == night for wall, night in walls)
    )
    return next(fits, None)


@dataclass(frozen=True, slots=True)
class Around:
    """The files that may hold some of a night."""

    paths: tuple[Path, ...]
    is_headless: bool
    """What the first of them goes on with is in a file that is not there."""
    has_hole: bool
    """A file between those of the night's date is not there."""
    zone: tzinfo | None
    """Of the noons by which the files are named, where they do not tell it."""


def around(found: Sequence[NightFile], first: int, last: int) -> Around:
    """Find the files that may hold some of a night.

    Args:
        found: all files of the folder, in their true order.
        first: where the first file of the night's date stands.
        last: where the last does.
    """
    files = _Files(found, range(max(0, first - 3), min(len(found), last + 4)))
    first = files.before_undated(first)
    begin, headless = files.begin(first, last)
    end = files.end(last)
    paths = tuple(one.path for one in found[begin : end + 1])
    is_holed = any(files.is_holed(n) for n in range(first + 1, last + 1))
    is_headless = headless or files.is_torn_off(first)
    return Around(paths, is_headless, is_holed, files.zone)


class _Files:
    """The files of a folder, of which each is looked into once."""

    def __init__(self, found: Sequence[NightFile], near: Sequence[int]) -> None:
        """Look into those near the night: their names tell the zone where they do not.

        Args:
            found: all files of the folder, in their true order.
            near: the places of those.
        """
        self._found = found
        heads = [(head_of(found[n].path), found[n].night) for n in near]
        self.zone = zone_by_names(heads)
        self._heads = {
            n: self._zoned(head) for n, (head, _) in zip(near, heads, strict=True)
        }

    def _zoned(self, head: Head) -> Head:
        return replace(head, zone=head.zone or self.zone)

    def _head(self, n: int) -> Head:
        if n not in self._heads:
            self._heads[n] = self._zoned(head_of(self._found[n].path))
        return self._heads[n]

    def _moment_s(self, n: int) -> float | None:
        """Return when a file begins, by the last clock of the run that it begins with.

        It is in the files that go on with it; None where none can be right.
        """
        began_s = self._head(n).began_s
        for after in range(n + 1, min(len(self._found), n + MOST_FILES)):
            head = self._head(after)
            if not head.goes_on or head.run != self._head(n).run:
                break
            began_s = began_s if head.began_s is None else head.began_s
            if head.up_s > LONGEST_NIGHT_S:
                break  # a monitor by day and night: its clock was set long ago
        return None if began_s is None else began_s + self._head(n).up_s

    def _since_noon_s(self, n: int) -> float | None:
        """Return how long after the noon of its night a file begins."""
        at_s, zone = self._moment_s(n), self._head(n).zone
        if at_s is None:
            return None
        return at_s - noon_s(night_of(datetime.fromtimestamp(at_s, UTC), zone), zone)

    def _noon_before_s(self, n: int) -> float:
        """Return when the night before that of a file began."""
        at_s, since_s = self._moment_s(n), self._since_noon_s(n)
        if at_s is None or since_s is None:
            return -math.inf
        return at_s - since_s - DAY_S

    def _goes_back(self, n: int) -> bool:
        """Return whether what was before a file may belong to its night."""
        head, since_s = self._head(n), self._since_noon_s(n)
        if not head.goes_on:
            # A restart soon after noon, of a monitor that noon must not cut in two.
            return since_s is not None and since_s <= LONGEST_BREAK_S
        is_late = since_s is not None and since_s > NEAR_S
        return head.up_s <= LONGEST_NIGHT_S or is_late

    def begin(self, first: int, last: int) -> tuple[int, bool]:
        """Return the first file that may hold some, and whether one before is gone."""
        if not any(self._head(n).is_read for n in range(first, last + 1)):
            return first, False  # nothing shows what they go on with
        # A run that had no clock came before the next that has one.
        before = self._head(first - 1) if first else Head()
        is_after_lost = before.is_read and self._moment_s(first - 1) is None
        back = [n for n in range(first, last + 1) if self._goes_back(n)]
        if not is_after_lost and not back:
            return first, False
        noons = [self._noon_before_s(n) for n in back]
        least_s = min(noons, default=-math.inf)
        n = first
        while n > 0 and first - n < MOST_FILES and self._head(n - 1).is_read:
            before_s = self._moment_s(n - 1)
            is_near = before_s is None or before_s >= least_s
            if not is_near and not (self._head(n).goes_on and self._goes_back(n)):
                break
            n -= 1
        head = self._head(n)
        is_gone = n == 0 or self._found[n - 1].number < head.number - 1
        return n, head.goes_on and is_gone and self._goes_back(n)

    def is_holed(self, n: int) -> bool:
        """Return whether the file just before this one is not there."""
        before = self._found[n - 1].number if n else 0
        return (before > 0 or n == 0) and before < self._found[n].number - 1

    def is_torn_off(self, n: int) -> bool:
        """Return whether the run before that a file's first knew of is not there."""
        return self._head(n).resumes and self.is_holed(n)

    def before_undated(self, first: int) -> int:
        """Return the first file of the night before a file that no clock dates.

        After a power cut it may be the same night.  Any other is its own first.
        """
        n = first
        while n > 0 and first - n < MOST_FILES and self._head(n).is_read:
            if self._moment_s(n) is not None:
                night = self._found[n].night
                while n > 0 and self._found[n - 1].night == night:
                    n -= 1
                return n
            n -= 1
        return first

    def _dated_after(self, last: int) -> int:
        """Return the file whose clock dates one that has none, or the last."""
        n = last
        while n + 1 < len(self._found) and n - last < MOST_FILES:
            if not self._head(n + 1).is_read:
                break
            n += 1
            if self._moment_s(n) is not None:
                break
        return n

    def end(self, last: int) -> int:
        """Return the last file that may hold some, or the clock that dates it."""
        if not self._head(last).is_read:
            return last
        if self._moment_s(last) is None:
            return self._dated_after(last)
        noon = noon_s(self._found[last].night, self._head(last).zone)
        n = last
        while n + 1 < len(self._found) and n - last < MOST_FILES:
            at_s, head = self._moment_s(n + 1), self._head(n + 1)
            if not head.is_read:
                break
            most_s = DAY_S + (LONGEST_BREAK_S if n == last else DAY_S)
            is_near = at_s is None or 0.0 <= at_s - noon < most_s
            goes_on = head.goes_on and (
                head.up_s <= LONGEST_NIGHT_S or self._was_set(n + 1)
            )
            if not is_near and not goes_on:
                break
            n += 1
        return n

    def _was_set(self, n: int) -> bool:
        """Return whether the clock was set where a file goes on with the one before."""
        after, before = self._head(n).began_s, self._head(n - 1).began_s
        is_one = self._head(n).run == self._head(n - 1).run
        if after is None or before is None or not is_one:
            return False
        return abs(after - before) > CLOCK_SET_S
