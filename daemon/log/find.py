"""Finds the night that a person means: a file, a folder's last night, or a date."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.log.doubles import each_once, stem_of
from cabinvigil.daemon.log.folder import NightFile, Nights
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.log.neighbours import around
from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.log.picked import Pick
from cabinvigil.daemon.outputs.disk import closed_to_us
from cabinvigil.daemon.text.errors import CabinvigilError

SHOWN = 5


class NightError(CabinvigilError, ValueError):
    """There is no such night; the message says what there is, and how to name it."""


class OtherNightError(NightError):
    """The files of a date hold nothing of that night: it is all another night's."""


HEADLESS = "its beginning is missing, the file before the first is not there"
HOLED = "some hours are missing, a file between the others is not there"


@dataclass(frozen=True, slots=True)
class Chosen:
    """A night as its files hold it."""

    name: str
    """The stem of the file that is named like it."""
    paths: tuple[Path, ...]
    """In their true order; with `pick`, also those that may hold some of it."""
    named: tuple[Path, ...]
    """Those of its own date."""
    pick: Pick | None = None
    """Which night of them; None: all that they hold."""
    missing: tuple[str, ...] = ()
    """What is not there, a clause each."""

    @property
    def is_alone(self) -> bool:
        """Whether all are of its own date."""
        return self.paths == self.named

    @property
    def night(self) -> date | None:
        """The date of its evening; None where it is all of a file, or the last."""
        return None if self.pick is None else self.pick.night


def chosen(
    word: str | None, folder: Path | None, found: Sequence[NightFile] | None = None
) -> Chosen:
    """Find the files of a night.

    Args:
        word: a file, a folder, or a date like 2026-01-16 (the evening's); None for the
            last night.
        folder: where the nights are kept; None: not known.
        found: its files, where they have been listed.

    Raises:
        NightError: there is none.
    """
    if word is not None and not is_date(word):
        path = Path(word)
        if path.is_dir():
            return _last(path)
        if path.is_file():
            return files(path)
        raise NightError(
            f"{word}: not found; give a night's file, a folder of nights, or a date "
            "like 2026-01-16"
        )
    if folder is None:
        raise NightError("the folder of the nights is not known; add --log FOLDER")
    if not folder.is_dir():
        raise NightError(
            f"{folder}: there is no such folder; add --log FOLDER, or name a file"
        )
    return _last(folder) if word is None else _dated(folder, word, found)


def is_date(word: str) -> bool:
    """Return whether a word is a date like 2026-01-16."""
    try:
        date.fromisoformat(word)
    except ValueError:
        return False
    return True


def nights(folder: Path) -> list[NightFile]:
    """List the files of a folder in their true order; one that is there twice, once.

    Raises:
        NightError: it holds none, or cannot be read.
    """
    try:
        return each_once(all_files(folder))
    except OSError as error:
        raise NightError(f"{folder}: cannot be read ({error.strerror})") from error


def all_files(folder: Path) -> list[NightFile]:
    """List the files of a folder in their true order, doubles too.

    Raises:
        NightError: it holds none, or cannot be read.
    """
    if closed := closed_to_us(folder):
        raise NightError(f"{folder}: {closed}")
    try:
        found = Nights(folder, keep_days=1.0, max_bytes=0, packed=False).files()
    except OSError as error:
        raise NightError(f"{folder}: cannot be read ({error.strerror})") from error
    if not found:
        inner = _with_nights(folder)
        mend = f"; give one of its folders, such as {inner}" if inner else ""
        raise NightError(
            f"{folder}: holds no night{mend}; a night's file is named like "
            "night-2026-01-16.jsonl"
        )
    return found


def _with_nights(folder: Path) -> str:
    """Name a folder in this one that holds nights; '' where none does."""
    try:
        return next(
            (str(path.parent) for path in sorted(folder.glob("*/night-*.jsonl*"))), ""
        )
    except OSError:
        return ""


def by_night(folder: Path) -> dict[str, list[Path]]:
    """Return the files of each night of a folder, by the date of its evening.

    Raises:
        NightError: it holds none, or cannot be read.
    """
    found: dict[str, list[Path]] = {}
    for one in nights(folder):
        found.setdefault(str(one.night), []).append(one.path)
    return found


def earlier(night: Chosen) -> Chosen | None:
    """Choose the night before one that cannot be read; None where there is none.

    Raises:
        NightError: the folder cannot be read.
    """
    found = nights(night.named[0].parent)
    before = found[: _place(found, night.named[0])]
    return _of(found, before[-1].night, Pick()) if before else None


def _place(found: Sequence[NightFile], path: Path) -> int:
    return next((n for n, one in enumerate(found) if one.path == path), 0)


def missing(tape: NightSeries, wall: datetime) -> str | None:
    """Say that the last night itself is not there, only an older one; None: it is.

    Args:
        tape: what was found to be the last night.
        wall: the present moment.
    """
    last = wall.astimezone(zone_of(tape.head)).date() - timedelta(days=1)
    if tape.night is None or tape.night >= last or wall < EARLIEST:
        return None
    return f"the night of {last} is missing, and this is that of {tape.night}"


def files(*paths: Path) -> Chosen:
    """Choose all that some files hold."""
    return Chosen(stem_of(paths[0]), paths, paths)


def _last(folder: Path) -> Chosen:
    found = nights(folder)
    return _of(found, found[-1].night, Pick())


def _of(found: Sequence[NightFile], night: date, pick: Pick) -> Chosen:
    """Choose the files of a date, with all that may hold some of that night."""
    places = [n for n, one in enumerate(found) if one.night == night]
    near = around(found, places[0], places[-1])
    named = tuple(found[n].path for n in places)
    told = ((HEADLESS, near.is_headless), (HOLED, near.has_hole))
    lacks = tuple(text for text, is_so in told if is_so)
    pick = replace(pick, zone=near.zone)
    return Chosen(stem_of(named[0]), near.paths, named, pick, lacks)


def _dated(folder: Path, word: str, listed: Sequence[NightFile] | None) -> Chosen:
    found = nights(folder) if listed is None else listed
    wanted = date.fromisoformat(word)
    if any(one.night == wanted for one in found):
        return _of(found, wanted, Pick(wanted))
    dates = sorted({str(one.night) for one in found})
    there = ", ".join(dates[-SHOWN:])
    raise NightError(f"{folder}: has no night of {word}; the last it has: {there}")


def all_nights(folder: Path) -> list[Chosen]:
    """Choose every night of a folder, by the dates of its files.

    Raises:
        NightError: it holds none, or cannot be read.
    """
    found = nights(folder)
    dates = dict.fromkeys(one.night for one in found)
    return [_of(found, night, Pick(night)) for night in dates]
