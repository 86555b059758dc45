"""Compare nights, or stretches between marks: safest, driest, least gas.

Each is a night's file, a folder (all its nights), a date, or FILE@MARK..MARK: from one
mark to another, by their words or numbers; a side left out is the night's start or end.
NIGHT@trial is each trial of a night or folder; behind it, one's number or words.
"""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import IO, NamedTuple

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.commands.base import CallError, add_json, add_units, print_note
from cabinvigil.daemon.commands.morning import (
    add_folder,
    folder_of,
    give_account,
    read,
    write_page,
)
from cabinvigil.daemon.log.find import (
    Chosen,
    NightError,
    OtherNightError,
    all_nights,
    chosen,
    is_date,
    nights,
)
from cabinvigil.daemon.log.folder import NightFile
from cabinvigil.daemon.log.runs import ReadNight
from cabinvigil.daemon.report.compare_text import (
    as_csv,
    as_json,
    picture_rows,
    table,
)
from cabinvigil.daemon.review.compare import Sheet, ranks, sheet
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.stretches import SHORTEST_S
from cabinvigil.daemon.review.trial_curves import TrialCurves, trial_curves
from cabinvigil.daemon.text.durations import seconds
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.terminal import told
from cabinvigil.daemon.text.units_said import Units, units_named

EXAMPLE = """examples, nights of the Lapwing, a trailer, one of them cut at a mark:
  cabinvigil compare 2026-01-16 2026-01-17
  cabinvigil compare nights/ --csv
  cabinvigil compare "night-2026-01-16.jsonl@..roof vent open" \\
      "night-2026-01-16.jsonl@roof vent open.."
  cabinvigil compare nights/@trial
"""


TRIAL = "trial"
"""Behind a night's @: its trials."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "nights",
        nargs="+",
        metavar="NIGHT",
        help="a log, a folder of nights, a date, NIGHT@MARK..MARK, or NIGHT@trial",
    )
    add_folder(parser)
    add_json(parser)
    add_units(parser)
    parser.add_argument(
        "--csv", action="store_true", help="print one CSV row for each night"
    )
    parser.add_argument(
        "--all",
        action="store_true",
        help="show each night, even if there are more than ten",
    )
    parser.add_argument(
        "--picture",
        type=Path,
        metavar="FILE",
        help="draw it, as .svg, .png or .pdf; needs the extra 'review'",
    )
    parser.add_argument(
        "--page",
        type=Path,
        metavar="FILE",
        help="write the report as one web page with pictures; needs the extra 'review'",
    )


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Compare; return the exit code."""
    wanted = list(_wanted(args))
    notes: list[str] = []
    curves: list[TrialCurves] | None = None if args.page is None else []
    shown = told(wanted, len(wanted), "reading nights", err)
    sheets: list[Sheet] = []
    heard: dict[str, bool] = {}
    for each in shown:
        before = len(sheets) + len(notes)
        sheets += _sheets_of(each, notes, curves)
        heard[each.word] = heard.get(each.word, False) or len(sheets + notes) > before
    for text in notes:
        print_note(text, err)
    for word in (word for word, any_of_it in heard.items() if not any_of_it):
        raise NightError(
            f"{word}: no such trial; `cabinvigil trial list --log FOLDER` shows all"
        )
    if len(sheets) < 2:
        raise CallError(
            "compare needs two nights or more; name another night, or a folder"
        )
    sheets = _named_apart(sheets)
    units = units_named(args.units, sheets[-1].units)
    if args.picture is not None:
        _draw(sheets, args.picture, units)
    sheets = [replace(one, units=units) for one in sheets]
    if curves is not None:
        _page(sheets, curves, args.page)
    order = ranks(sheets)
    if args.json:
        print(json_line(as_json(sheets, order)), file=out)
    elif args.csv:
        out.write(as_csv(sheets))
    else:
        out.write(table(sheets, order, is_whole=args.all, units=units))
    return ExitCode.DONE


Curves = list[TrialCurves] | None
"""Courses for the page; None: no page is asked for."""
MOST_POINTS = 360
"""A point every thirty seconds of a trial of three hours."""


class Wanted(NamedTuple):
    """One night, or a stretch of it."""

    name: str
    night: Chosen
    stretch: str
    """Empty: all of it."""
    word: str
    """As it was called."""
    is_of_folder: bool = False
    """One of a folder's: where it cannot be read the others are compared."""


def _wanted(args: argparse.Namespace) -> Iterator[Wanted]:
    """List what is to be compared; a folder is all its nights."""
    listed: tuple[Path | None, Sequence[NightFile] | None] | None = None
    for word in args.nights:
        night, stretch = _split(word)
        path = Path(night)
        if path.is_dir():
            for one in all_nights(path):
                name = str(path / str(one.night))
                yield Wanted(name, one, stretch, word, is_of_folder=True)
            continue
        if not is_date(night):
            yield Wanted(word, chosen(night, None), stretch, word)
            continue
        if listed is None:  # once for all dates: a folder may hold thousands
            folder = folder_of(args, night)
            is_there = folder is not None and folder.is_dir()
            listed = folder, nights(folder) if folder and is_there else None
        yield Wanted(word, chosen(night, *listed), stretch, word)


def _split(word: str) -> tuple[str, str]:
    if "@" not in word or Path(word).exists():
        return word, ""
    night, _, stretch = word.rpartition("@")
    if ".." not in stretch and stretch.split()[:1] != [TRIAL]:
        raise NightError(
            f"{word}: a stretch is written FILE@MARK..MARK, where a side may be left "
            "out, or NIGHT@trial"
        )
    return night, stretch


def _sheets_of(wanted: Wanted, notes: list[str], curves: Curves) -> list[Sheet]:
    """Sum a night or its trials up; noted where one of a folder's cannot be."""
    try:
        if ".." not in wanted.stretch and wanted.stretch:
            return _trial_sheets(wanted, notes, curves)
        return [_sheet(wanted, notes, curves)]
    except OtherNightError:
        if not wanted.is_of_folder:
            raise
        return []
    except NightError as error:
        if not wanted.is_of_folder:
            raise
        notes.append(f"{error}: it is kept, and skipped.")
        return []


def _trial_sheets(wanted: Wanted, notes: list[str], curves: Curves) -> list[Sheet]:
    """Sum up each trial of a night that is meant."""
    held = read(wanted.night)
    there = held.tape().trials
    asked = wanted.stretch.removeprefix(TRIAL).strip().casefold()
    if asked.isdecimal():
        meant = {int(asked)}
    else:
        texts = enumerate((one.text.casefold() for one in there), 1)
        meant = {number for number, text in texts if text.startswith(asked)}
    found = [
        _trial_sheet(wanted, held, (number, one.text), notes, curves)
        for number, one in enumerate(there, 1)
        if number in meant
    ]
    if not found and not wanted.is_of_folder:
        names = ", ".join(f"{n} '{one.text}'" for n, one in enumerate(there, 1))
        raise NightError(f"{wanted.name}: no such trial; it has: {names or 'none'}")
    return found


def _trial_sheet(
    wanted: Wanted,
    held: ReadNight,
    named: tuple[int, str],
    notes: list[str],
    curves: Curves,
) -> Sheet:
    number, text = named
    found = give_account(wanted.night, SystemClock().wall(), trial=number, held=held)
    if found.tape.flaws.of_newer:
        notes.append(found.tape.flaws.of_newer)
    name = f"{wanted.name}/{TRIAL} {number}/{text}"
    _take_curves(found, 0.0, found.tape.length_s, curves)
    return sheet(found, name, 0.0, found.tape.length_s, is_trial=True)


def _take_curves(found: Morning, from_s: float, to_s: float, curves: Curves) -> None:
    """Keep the courses for the page, where one is asked for."""
    if curves is not None:
        curves.append(trial_curves(found, from_s, to_s, MOST_POINTS))


def _sheet(wanted: Wanted, notes: list[str], curves: Curves) -> Sheet:
    name, night, stretch, *_ = wanted
    found = give_account(night, SystemClock().wall())
    if found.tape.flaws.of_newer:
        notes.append(found.tape.flaws.of_newer)
    first, _, last = stretch.partition("..")
    from_s = _mark(found, first, name) if first.strip() else 0.0
    to_s = _mark(found, last, name) if last.strip() else found.tape.length_s
    if to_s <= from_s:
        raise NightError(f"{name}: the stretch ends before it begins; swap its marks")
    if to_s - from_s < SHORTEST_S:
        shortest = seconds(SHORTEST_S)
        raise NightError(
            f"{name}: the stretch is shorter than {shortest}; name marks further apart"
        )
    _take_curves(found, from_s, to_s, curves)
    return sheet(found, name, from_s, to_s)


def _named_apart(sheets: list[Sheet]) -> list[Sheet]:
    """Shorten names to their last words, as few as tell them apart."""
    parts = [Path(one.name).parts for one in sheets]
    for count in range(1, max(map(len, parts)) + 1):
        short = ["/".join(each[-count:]) for each in parts]
        if len(set(short)) == len(short):
            break
    return [replace(one, name=name) for one, name in zip(sheets, short, strict=True)]


def _mark(found: Morning, word: str, name: str) -> float:
    """Find a mark by its words, or by its number."""
    marks = [one for one in found.tape.events if one.kind == "mark"]
    asked = word.strip().casefold()
    texts = [str(one.fields.get("text", "")).casefold() for one in marks]
    near = [n for n, text in enumerate(texts) if text == asked]
    near = near or [n for n, text in enumerate(texts) if text.startswith(asked)]
    if not near and asked.isdecimal() and 1 <= int(asked) <= len(marks):
        near = [int(asked) - 1]
    if len(near) == 1:
        return marks[near[0]].at_s
    there = ", ".join(f"{n} '{text}'" for n, text in enumerate(texts, 1)) or "none"
    which = "no mark" if not near else "more than one mark"
    raise NightError(f"{name}: has {which} '{word.strip()}'; its marks: {there}")


def _draw(sheets: list[Sheet], path: Path, units: Units) -> None:
    """Draw the comparison.

    Raises:
        NightError: matplotlib is missing, or the file cannot be written.
    """
    from cabinvigil.daemon.text.charts import save_rows
    from cabinvigil.daemon.text.svg import DrawingError

    try:
        save_rows(picture_rows(sheets, units), path)
    except DrawingError as error:
        raise NightError(f"--picture {error}") from error


def _page(sheets: list[Sheet], curves: list[TrialCurves], path: Path) -> None:
    """Write the report.

    Raises:
        NightError: too many to draw, matplotlib is missing, or it cannot be written.
    """
    from cabinvigil.daemon.report.compare_page import MOST, compare_page

    if len(sheets) > MOST:
        raise NightError(
            f"--page shows at most {MOST} nights or trials, not {len(sheets)}; name "
            "fewer"
        )
    write_page(path, lambda: compare_page(sheets, curves))
