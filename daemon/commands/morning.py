"""Tell what happened in a night: how safe, how dry, how much air and gas.

Works from the night's own log; a night is a file, a folder (its last night), or the
date of its evening.  Exit code 0: nothing dangerous; 1: not well, or not watched.
"""

import argparse
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
    print_note,
)
from cabinvigil.daemon.log.find import (
    NightError,
    earlier,
    is_date,
    missing,
    night_files,
)
from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.report.json import as_json, summary
from cabinvigil.daemon.report.text import account
from cabinvigil.daemon.review.morning import Morning, morning
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line

EXAMPLE = """example, a night of the trailer Lapwing:
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
        help="a file, a folder, or a date like 2026-01-16; the last night if left out",
    )
    add_folder(parser)
    add_json(parser)
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
    """Tell of the night; return the exit code."""
    folder = folder_of(args, args.night)
    paths = night_files(args.night, folder)
    older, wall = None, (clock or SystemClock()).wall()
    if args.night is None and folder is not None:
        older = missing(paths, folder, wall)
    is_any = args.night is None or Path(args.night).is_dir()
    found, unread = _newest(paths, older, wall) if is_any else (None, None)
    found = found or give_account(paths, older, wall)
    older = unread or older
    if args.page is not None:
        _page(found, args.page)
    for text in (older, found.tape.flaws.of_newer):
        if text:
            print_note(text, err)
    if args.json or args.summary:
        told = summary(found) if args.summary else as_json(found)
        print(json_line(told), file=out)
    else:
        out.write(account(found))
    is_well = found.verdict.is_well and not unread
    return ExitCode.DONE if is_well else ExitCode.NOT_WELL


def _newest(
    paths: list[Path], note: str | None, wall: datetime
) -> tuple[Morning | None, str | None]:
    """Give account of a folder's newest night that can be read.

    Returns:
        The account, None where no night can be read; and what was passed over for it.
    """
    passed: list[str] = []
    while paths:
        try:
            return give_account(paths, note, wall), note if passed else None
        except NightError:
            passed.append(paths[-1].name)
            note = f"{', '.join(passed)} cannot be read: kept, and passed over."
            paths = earlier(paths)
    return None, None


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
    paths: list[Path], note: str | None = None, wall: datetime | None = None
) -> Morning:
    """Read a night and give account of it.

    Args:
        paths: its files.
        note: what a reader must know of how it was found.
        wall: the present moment: a log that ended long before it without a word was cut
            off; None looks for no such thing.

    Raises:
        NightError: a file cannot be read, or holds no line of a night.
    """
    tape = read(paths)
    if wall is not None:
        tape = replace(tape, is_cut_off=tape.ends_in_silence(wall))
    if note is not None:
        tape = replace(tape, notes=(note, *tape.notes))
    return morning(tape, paths[0].name.split(".jsonl")[0])


def read(paths: list[Path]) -> NightSeries:
    """Read the files of a night.

    Raises:
        NightError: one cannot be read, or they hold no line of a night.
    """
    try:
        tape = read_tape(paths)
    except OSError as error:
        why = error.strerror or str(error)
        raise NightError(f"{paths[0]}: cannot be read ({why})") from error
    if tape.count == 0:
        raise NightError(
            f"{paths[0]}: holds no line of a night's log; give a file like "
            "night-2026-01-16.jsonl or its .gz"
        )
    return tape


def _page(found: Morning, path: Path) -> None:
    """Write the page.

    Raises:
        NightError: matplotlib is missing, or the file cannot be written.
    """
    from cabinvigil.daemon.report.page import page
    from cabinvigil.daemon.text.svg import DrawingError

    try:
        path.write_text(page(found), encoding="utf-8")
    except DrawingError as error:
        raise NightError(f"--page {error}") from error
    except OSError as error:
        raise NightError(
            f"--page {path}: cannot be written ({error.strerror}); name a file in a "
            "folder that is there"
        ) from error
