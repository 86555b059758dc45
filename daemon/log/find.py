"""Finds the night that a person means: a file, a folder's last night, or a date."""

from datetime import date, datetime, timedelta
from pathlib import Path

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.log.doubles import each_once
from cabinvigil.daemon.log.folder import NightFile, Nights
from cabinvigil.daemon.outputs.disk import closed_to_us
from cabinvigil.daemon.text.errors import CabinvigilError

SHOWN = 5


class NightError(CabinvigilError, ValueError):
    """There is no such night; the message says what there is, and how to name it."""


def night_files(word: str | None, folder: Path | None) -> list[Path]:
    """Find the files of a night, in their true order.

    Args:
        word: a file, a folder, or a date like 2026-01-16 (the evening's); None for the
            last night.
        folder: where the nights are kept; None: not known.

    Raises:
        NightError: there is none.
    """
    if word is not None and not is_date(word):
        path = Path(word)
        if path.is_dir():
            return _last(path)
        if path.is_file():
            return [path]
        raise NightError(
            f"{word}: is not there; give a night's file, a folder of nights, or a date "
            "like 2026-01-16"
        )
    if folder is None:
        raise NightError("the folder of the nights is not known; add --log FOLDER")
    if not folder.is_dir():
        raise NightError(
            f"{folder}: there is no such folder; add --log FOLDER, or name a file"
        )
    return _last(folder) if word is None else _dated(folder, word)


def is_date(word: str) -> bool:
    """Say whether a word is a date like 2026-01-16."""
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
        raise NightError(
            f"{folder}: holds no night; a night's file is named like "
            "night-2026-01-16.jsonl"
        )
    return found


def by_night(folder: Path) -> dict[str, list[Path]]:
    """Give the files of each night of a folder, by the date of its evening.

    Raises:
        NightError: it holds none, or cannot be read.
    """
    found: dict[str, list[Path]] = {}
    for one in nights(folder):
        found.setdefault(str(one.night), []).append(one.path)
    return found


def earlier(paths: list[Path]) -> list[Path]:
    """Give the files of the night before one that cannot be read; [] for none.

    Args:
        paths: its files.

    Raises:
        NightError: the folder cannot be read.
    """
    found = nights(paths[0].parent)
    before: list[NightFile] = []
    for one in found:
        if one.path in paths:
            break
        before.append(one)
    return [one.path for one in before if one.night == before[-1].night]


def missing(paths: list[Path], folder: Path, wall: datetime) -> str | None:
    """Say that the last night itself is not there, only an older one; None: it is.

    Args:
        paths: what was found to be the last night.
        folder: where.
        wall: the present moment.
    """
    last = wall.astimezone().date() - timedelta(days=1)
    found = next((one.night for one in nights(folder) if one.path in paths), last)
    if found >= last or wall < EARLIEST:
        return None
    return f"The night of {last} is missing; the newest there is that of {found}."


def _last(folder: Path) -> list[Path]:
    found = nights(folder)
    return [one.path for one in found if one.night == found[-1].night]


def _dated(folder: Path, word: str) -> list[Path]:
    found = nights(folder)
    wanted = date.fromisoformat(word)
    paths = [one.path for one in found if one.night == wanted]
    if paths:
        return paths
    dates = sorted({str(one.night) for one in found})
    there = ", ".join(dates[-SHOWN:])
    raise NightError(f"{folder}: has no night of {word}; the last it has: {there}")
