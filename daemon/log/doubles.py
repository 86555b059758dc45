"""A night's file that is there twice, plain and packed: it counts once."""

from collections.abc import Iterable
from pathlib import Path

from cabinvigil.daemon.log.folder import NightFile
from cabinvigil.daemon.log.reader import Logbook


def stem_of(path: Path) -> str:
    """Return a file's name without its endings: `night-2026-01-16.2`."""
    return path.name.split(".jsonl")[0]


def each_once(files: Iterable[NightFile]) -> list[NightFile]:
    """Return the files of a folder in their order, each stem once.

    A power cut between packing and deleting leaves both, and so does who unpacks one
    to look at it.  The one that holds more counts, the plain one where both do.

    Raises:
        OSError: one that is there twice cannot be read.
    """
    once: dict[str, NightFile] = {}
    for one in files:
        other = once.setdefault(stem_of(one.path), one)
        if other is not one:
            once[stem_of(one.path)] = max(one, other, key=_held)
    return list(once.values())


def _held(one: NightFile) -> tuple[int, bool]:
    """Return how much of it can be read, for comparison."""
    return Logbook(one.path).unpacked_bytes(), one.path.suffix != ".gz"
