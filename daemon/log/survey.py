"""What one file of the log holds, line by line, and what of it is lost."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.log.reader import Flaws, Logbook, LogLine

LATEST = datetime(2100, 1, 1, tzinfo=UTC)
MOST_KEPT = 100
"""LostLines stretches and runs of a file that are kept; more are counted."""
SAME_RUN_S = 2.0
"""Starts that differ by less are one: `t` and `up_s` are rounded."""
LONGEST_TICK_S = 60.0
"""A longer pause is none between two ticks: a config allows a minute."""

LARGEST = 2.0**63
"""A number beyond it, or an infinite one, stops the readers of data-frame libraries."""
NAMES_OF_SERIES = frozenset({"at_least", "doubtful"})
"""What is no number in a line of air."""


@dataclass(frozen=True, slots=True)
class LostLines:
    """Lines that could not be read, next to each other."""

    after_line: int
    """The number of the last line before them that could; 0: none."""
    from_wall: datetime | None
    """The moment of that line; None where no clock was believed, or there is none."""
    to_wall: datetime | None
    """The moment of the next one that could."""
    lines: int | None
    """How many they are; None where nothing tells."""
    is_exact: bool
    """Whether they were counted, and not reckoned by the tick."""


@dataclass(slots=True)
class RunSpan:
    """What a file holds of one run of the monitor."""

    started_s: float | None
    """The moment of its `up_s` 0, in seconds of the epoch, by the first line here; None
    where no clock told."""
    from_s: float
    """`up_s` of its first line here."""
    to_s: float
    """`up_s` of its last line here."""
    is_emulated: bool
    is_continued: bool
    """It did not begin in this file."""


@dataclass(slots=True)
class Survey:
    """What one file holds; complete once all its lines were gone through."""

    path: Path
    size: int
    lines: int = 0
    """That could be read."""
    first: datetime | None = None
    """The first moment that can be believed."""
    last: datetime | None = None
    zone: tzinfo | None = None
    """That its moments are told in, by its starts; None: the machine's own."""
    clock_steps: int = 0
    runs: list[RunSpan] = field(default_factory=list)
    run_count: int = 0
    lost: list[LostLines] = field(default_factory=list)
    lost_count: int = 0
    is_torn: bool = False
    """Its last line has no end: a power cut, and no damage."""
    is_newer: bool = False
    """It was written in a format that this version does not know."""
    error: str | None = None
    """Why it cannot be read at all."""

    @property
    def is_damaged(self) -> bool:
        """Whether more than a torn last line is wrong with it."""
        return bool(self.lost_count or self.is_newer or self.error or not self.lines)


def lines_of(path: Path, survey: Survey) -> Iterator[tuple[bytes, LogLine]]:
    """Go through a file's sound lines, and note in the survey what it holds.

    A file that cannot be opened or read to its end is noted as that.
    """
    book = Logbook(path)
    noted = _Noted(survey)
    try:
        for raw, line in book.with_bytes():
            if not is_sound(line):
                book.flaws.unreadable += 1
                continue
            noted.see(line, book.flaws)
            yield raw, line
    except OSError as error:
        survey.error = error.strerror or str(error)
    noted.end(book.flaws)


def look_at(path: Path) -> Survey:
    """Survey a file."""
    survey = begun(path)
    for _ in lines_of(path, survey):
        pass
    return survey


def begun(path: Path) -> Survey:
    """Return a survey of a file that nothing is known of but its size."""
    return Survey(path, size_of(path))


def size_of(*paths: Path) -> int:
    """Return the bytes of files; one that was deleted meanwhile has none."""
    total = 0
    for path in paths:
        with suppress(OSError):
            total += path.stat().st_size
    return total


def is_sound(line: LogLine) -> bool:
    """Return whether whoever reads lines of JSON as a table can take it."""
    values = line.fields.values()
    if line.event != "air":
        return all(map(_is_bounded, values))
    return all(_fits_air(key, value) for key, value in line.fields.items())


def _fits_air(key: str, value: Any) -> bool:
    if key in NAMES_OF_SERIES:
        return isinstance(value, list) and all(isinstance(one, str) for one in value)
    if key == "unwritable":
        return isinstance(value, str)
    if key == "trial":
        return value is True
    return type(value) in (int, float) and _is_bounded(value)


def _is_bounded(value: Any) -> bool:
    if isinstance(value, dict):
        return all(map(_is_bounded, value.values()))
    if isinstance(value, list):
        return all(map(_is_bounded, value))
    return not isinstance(value, int | float) or abs(value) < LARGEST


class _Noted:
    def __init__(self, survey: Survey) -> None:
        self._survey = survey
        self._unreadable = 0
        self._damaged = 0
        self._before: LogLine | None = None
        self._tick_s: float | None = None

    def see(self, line: LogLine, flaws: Flaws) -> None:
        survey = self._survey
        self._compare(flaws, line)
        survey.lines += 1
        survey.clock_steps += line.clock_step_s != 0.0
        if (wall := believed(line)) is not None:
            survey.first = survey.first or wall
            survey.last = wall
        if line.event == "start" or not survey.runs:
            self._begin(line)
        elif survey.run_count <= MOST_KEPT:
            survey.runs[-1].to_s = max(survey.runs[-1].to_s, line.up_s)
        if line.event == "air" and self._before is not None:
            step_s = line.up_s - self._before.up_s
            if self._before.event == "air" and 0.0 < step_s <= LONGEST_TICK_S:
                self._tick_s = step_s
        self._before = line

    def end(self, flaws: Flaws) -> None:
        self._compare(flaws, None)
        self._survey.is_torn = flaws.torn > 0
        self._survey.is_newer = flaws.newer_format > 0

    def _begin(self, line: LogLine) -> None:
        survey = self._survey
        survey.run_count += 1
        survey.zone = survey.zone or zone_of(line.fields)
        if survey.run_count > MOST_KEPT:
            return
        wall = believed(line)
        survey.runs.append(
            RunSpan(
                None if wall is None else wall.timestamp() - line.up_s,
                line.up_s,
                line.up_s,
                line.fields.get("emulated") is True,
                line.event != "start" or line.fields.get("continues") is True,
            )
        )

    def _compare(self, flaws: Flaws, after: LogLine | None) -> None:
        """Note what the reader left out since the line before."""
        unreadable = flaws.unreadable - self._unreadable
        damaged = flaws.damaged - self._damaged
        self._unreadable, self._damaged = flaws.unreadable, flaws.damaged
        if not unreadable and not damaged:
            return
        self._survey.lost_count += 1
        if len(self._survey.lost) == MOST_KEPT:
            return
        before = self._before
        lines = self._reckoned(after) if damaged else unreadable
        self._survey.lost.append(
            LostLines(
                0 if before is None else before.number,
                None if before is None else believed(before),
                None if after is None else believed(after),
                lines,
                is_exact=not damaged,
            )
        )

    def _reckoned(self, after: LogLine | None) -> int | None:
        """Reckon by the tick how many lines are missing before this one."""
        before, tick_s = self._before, self._tick_s
        if before is None or after is None or tick_s is None:
            return None
        if after.event == "start" or after.up_s < before.up_s:
            return None
        return max(1, round((after.up_s - before.up_s) / tick_s) - 1)


def believed(line: LogLine) -> datetime | None:
    """Return a line's moment, where a clock that was set gave it."""
    wall = line.wall
    return wall if wall is not None and EARLIEST <= wall < LATEST else None
