"""Whether a night may begin in a file of another date: such a file is not deleted.

A Pi without a battery clock names its file by the clock that it has, and goes on in
another once the network has set it.
"""

from collections.abc import Sequence
from datetime import date

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.log.folder import NightFile, of_dates
from cabinvigil.daemon.log.neighbours import head_of
from cabinvigil.daemon.log.periods import LONGEST_NIGHT_S

MOST_FILES = 20
"""Files kept for it at most: the caps hold for a clock that is never set, too."""


def spared(files: Sequence[NightFile], nights: set[date]) -> set[NightFile]:
    """Return the files of nights, and those before them that may hold some of one.

    Args:
        files: all of the folder, in their true order.
        nights: the dates.
    """
    found = of_dates(files, nights)
    for first in [n for n, each in enumerate(files) if each in found]:
        for n in range(first, max(0, first - MOST_FILES), -1):
            if not _may_begin_before(files[n], files[n - 1]):
                break
            found.add(files[n - 1])
    return found


def _may_begin_before(one: NightFile, before: NightFile) -> bool:
    """Return whether the night of a file may begin in the one before it."""
    head = head_of(one.path)
    is_young = head.goes_on and head.up_s <= LONGEST_NIGHT_S
    return is_young or head.resumes or before.night < EARLIEST.date()
