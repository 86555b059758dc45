"""Report on a night: how safe, how dry, how much air and gas.

Works from the night's own log; a night is a file, a folder (its last night), or the
date of its evening.  Exit code 0: nothing dangerous; 1: not well, or not monitored.
"""

import argparse
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import IO

from cabinvigil.daemon.clock import Clock, SystemClock
from cabinvigil.daemon.commands.base import (
    USUAL_CONFIG,
    add_config,
    add_json,
    add_log,
    add_units,
    print_note,
)
from cabinvigil.daemon.log.find import (
    Chosen,
    NightError,
    OtherNightError,
    chosen,
    earlier,
    is_date,
    missing,
)
from cabinvigil.daemon.log.runs import ReadNight, read_night
from cabinvigil.daemon.report.json import as_json, summary
from cabinvigil.daemon.report.text import account
from cabinvigil.daemon.review.morning import Morning, morning
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.files import put_whole, remedy
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.terminal import progress
from cabinvigil.daemon.text.units_said import SYSTEMS, Units

EXAMPLE = """examples, a night of the Lapwing, a trailer:
  cabinvigil morning
  cabinvigil morning 2026-01-16 --page lapwing.html
  cabinvigil morning nights/night-2026-01-16.jsonl.gz --json
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "night",
        nargs="?",
        metavar="NIGHT",
        help="a file, a folder, or a date like 2026-01-16 (default: the last night)",
    )
    add_folder(parser)
    add_json(parser)
    add_units(parser)
    parser.add_argument(
        "--all",
        action="store_true",
        help="show the alarms and stretches that the page left out, if any, and what "
        "the figures rest on",
    )
    parser.add_argument(
        "--summary",
        action="store_true",
        help="print the short JSON object that the phone gets over MQTT",
    )
    parser.add_argument(
        "--page",
        type=Path,
        metavar="FILE",
        help="write it as one web page with pictures; needs the extra 'review'",
    )


def add_folder(parser: argparse.ArgumentParser) -> None:
    """Add the options that tell where the nights are kept."""
    add_log(parser, "the folder where the nights are kept")
    add_config(
        parser, f"the config that names that folder ({USUAL_CONFIG})", USUAL_CONFIG
    )


def run(
    args: argparse.Namespace,
    out: IO[str],
    err: IO[str],
    clock: Clock | None = None,
) -> int:
    """Report of the night; return the exit code."""
    folder = folder_of(args, args.night)
    wall = (clock or SystemClock()).wall()
    night, is_last = chosen(args.night, folder), args.night is None
    units = SYSTEMS.get(args.units)
    # A long night's page takes some seconds on a Pi: reading and judging, then drawing.
    steps = 1.0 if args.page is None else 2.0
    with progress(steps, "reading the night", err) as shown:
        if is_last or Path(args.night).is_dir():
            found = _newest(night, wall, units, is_last=is_last)
        else:
            found = give_account(night, wall, units=units)
        shown(1.0)
        if args.page is not None:
            _page(found, args.page)
    if found.tape.flaws.of_newer:
        print_note(found.tape.flaws.of_newer, err)
    if args.json or args.summary:
        told = summary(found) if args.summary else as_json(found)
        print(json_line(told), file=out)
    else:
        out.write(account(found, is_whole=args.all))
    return ExitCode.DONE if found.verdict.is_well else ExitCode.NOT_WELL


def _newest(
    night: Chosen, wall: datetime, units: Units | None, *, is_last: bool
) -> Morning:
    """Return account of a folder's newest night that can be read.

    Raises:
        NightError: none can.
    """
    passed: list[str] = []
    while True:
        try:
            return give_account(
                night, wall, is_last_night=is_last, passed=passed, units=units
            )
        except NightError:
            before = earlier(night)
            if before is None:
                raise
            passed.append(night.named[-1].name)
            night = before


def folder_of(args: argparse.Namespace, word: str | None) -> Path | None:
    """Find the folder of the nights; None where the call needs none.

    Raises:
        NightError: the config cannot be read.
    """
    if args.log is not None:
        return Path(args.log)
    if word is not None and not is_date(word):
        return None
    # Only here: reading a config costs as much as the whole account.
    from cabinvigil.daemon.settings.config import ConfigError, load

    try:
        return Path(load(args.config).log.folder)
    except ConfigError as error:
        first = str(error.mistakes[0]).rstrip(".")
        raise NightError(
            f"{first}; or add --log FOLDER, or name a night's file"
        ) from error


def give_account(
    night: Chosen,
    wall: datetime | None = None,
    *,
    is_last_night: bool = False,
    passed: Sequence[str] = (),
    trial: int | None = None,
    units: Units | None = None,
    held: ReadNight | None = None,
) -> Morning:
    """Read a night and give account of it.

    Args:
        night: its files.
        wall: the present moment: a log that ended long before it without a word was cut
            off; None looks for no such thing.
        is_last_night: it is to be that of the evening before `wall`; an older one says
            so, and that nobody can vouch for the last.
        passed: files of later nights that cannot be read.
        trial: of the night's trials this one, from 1, as if it were a night; None is
            the night without them.
        units: in which people are told; None: as the night's own config has it.
        held: its files, where they were read already.

    Raises:
        NightError: a file cannot be read, or holds no line of a night.
    """
    tape = (held or read(night)).tape(trial)
    if tape.count == 0 and trial is not None:
        raise NightError(f"{night.named[0]}: holds no trial {trial}")
    lacks = list(night.missing)
    if passed:
        lacks.append(f"{', '.join(passed)} cannot be read: kept, and skipped")
    if wall is not None:
        # A trial that has an end of its own was watched to it.
        is_ended = trial is not None and any(one.why for one in tape.trials)
        is_cut_off = tape.ends_in_silence(wall) and not is_ended
        tape = replace(tape, is_cut_off=is_cut_off)
        if is_last_night and (older := missing(tape, wall)):
            lacks.insert(0, older)
    name = night.name if tape.night is None else f"night-{tape.night}"
    return morning(replace(tape, missing=tuple(lacks)), name, units=units)


def read(night: Chosen) -> ReadNight:
    """Read the files of a night.

    Raises:
        NightError: one cannot be read, or they hold no line of a night.
    """
    try:
        held = read_night(night.paths, night.pick)
        if held.is_empty and night.is_alone:
            # Somebody has named a file again: what it holds is what is meant.
            held = read_night(night.paths)
    except OSError as error:
        why = error.strerror or str(error)
        raise NightError(f"{night.paths[0]}: cannot be read ({why})") from error
    if held.is_empty and night.pick is not None and not night.is_alone:
        raise OtherNightError(
            f"{night.named[0]}: all its lines belong to another night, by the clock "
            "as it was set later; name that night, or the file"
        )
    if held.is_empty:
        raise NightError(
            f"{night.paths[0]}: holds no line of a night's log; give a file like "
            "night-2026-01-16.jsonl or its .gz"
        )
    return held


def _page(found: Morning, path: Path) -> None:
    """Write the page of a night.

    Raises:
        NightError: matplotlib is missing, or the file cannot be written.
    """
    from cabinvigil.daemon.report.page import page

    write_page(path, lambda: page(found))


def write_page(path: Path, made: Callable[[], str]) -> None:
    """Write a page into a file.

    Raises:
        NightError: matplotlib is missing, or the file cannot be written.
    """
    from cabinvigil.daemon.text.svg import DrawingError

    try:
        text = made()
        put_whole(path, lambda file: file.write_text(text, encoding="utf-8"))
    except DrawingError as error:
        raise NightError(f"--page {error}") from error
    except OSError as error:
        raise NightError(
            f"--page {path}: cannot be written ({error.strerror}); {remedy(error)}"
        ) from error
