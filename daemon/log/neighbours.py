"""Which files beside those of its own date may hold some of a night.

A Pi without a battery clock names its file by the clock that it has: the first hours of
a night stand in a file of another date, and the file that the run goes on in once the
network has set the clock says so in its first line.
"""

import gzip
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

from cabinvigil.daemon.log.folder import NightFile, night_of
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.log.reader import LONGEST_LINE, moment
from cabinvigil.daemon.log.watches import LONGEST_BREAK_S, LONGEST_NIGHT_S, noon_s

NEAR_S = 120.0
"""A file that goes on at noon begins within two ticks of the slowest watch
(config/README.md) after it."""
CLOCK_SET_S = 60.0
"""A clock that was set by less moves no run to another night."""


@dataclass(frozen=True, slots=True)
class Head:
    """What the first line of a file says of its place."""

    goes_on: bool
    """It continues a run of the file before."""
    up_s: float
    wall: datetime | None
    zone: tzinfo | None
    number: int

    @property
    def began_s(self) -> float | None:
        """When its run began, in seconds of the epoch, by the clock of this line."""
        return None if self.wall is None else self.wall.timestamp() - self.up_s

    @property
    def since_noon_s(self) -> float | None:
        """How long after the noon of its night it begins."""
        if self.wall is None:
            return None
        return self.wall.timestamp() - noon_s(night_of(self.wall, self.zone), self.zone)

    @property
    def is_of_a_night(self) -> bool:
        """Whether what its run told before may belong to the same night."""
        if not self.goes_on:
            # A restart soon after noon, of a watch that noon must not cut in two.
            since_s = self.since_noon_s
            return since_s is not None and since_s <= LONGEST_BREAK_S
        since_s = self.since_noon_s
        is_late = since_s is not None and since_s > NEAR_S
        return self.up_s <= LONGEST_NIGHT_S or is_late


UNKNOWN = Head(False, 0.0, None, None, 0)


def head_of(path: Path) -> Head:
    """Read the first line of a file; what cannot be read tells nothing."""
    opener = gzip.open if path.suffix == ".gz" else open
    try:
        with opener(path, "rb") as file:
            line = json.loads(file.readline(LONGEST_LINE))
        return _head(line)
    except (OSError, EOFError, zlib.error, ValueError, KeyError, TypeError):
        return UNKNOWN


def _head(line: Mapping[str, Any]) -> Head:
    return Head(
        line.get("continues") is True,
        float(line["up_s"]),
        moment(line.get("t")),
        zone_of(line),
        int(line["file_no"]),
    )


@dataclass(frozen=True, slots=True)
class Around:
    """The files that may hold some of a night."""

    paths: tuple[Path, ...]
    is_headless: bool
    """The first of them goes on with a run whose file before is not there."""


def around(found: Sequence[NightFile], first: int, last: int) -> Around:
    """Find the files that may hold some of a night.

    Args:
        found: all files of the folder, in their true order.
        first: where the first file of the night's date stands.
        last: where the last does.
    """
    headless = False
    head = head_of(found[first].path)
    while head.is_of_a_night:
        if first == 0 or found[first - 1].number < head.number - 1:
            headless = head.goes_on
            break
        first -= 1
        head = head_of(found[first].path)
    while last + 1 < len(found) and _belongs(found, last):
        last += 1
    return Around(tuple(one.path for one in found[first : last + 1]), headless)


def _belongs(found: Sequence[NightFile], last: int) -> bool:
    """Return whether the file after may hold some, or the clock that dates this one."""
    after = head_of(found[last + 1].path)
    if not after.goes_on:
        return after.is_of_a_night
    before = head_of(found[last].path)
    moved_s = 0.0
    if after.began_s is not None and before.began_s is not None and before.goes_on:
        moved_s = abs(after.began_s - before.began_s)
    return after.up_s <= LONGEST_NIGHT_S or moved_s > CLOCK_SET_S
