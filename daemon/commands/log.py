"""Check the files of the log, repair them, or print its nights as CSV.

`check` shows what each file holds, and what is damaged, doubled or left over; `mend`
writes what can be read into new files beside the old; `csv` prints rows to plot.
"""

import argparse
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import IO

from cabinvigil.daemon.commands import log_check, log_csv, log_mend
from cabinvigil.daemon.commands.base import CallError, add_json
from cabinvigil.daemon.commands.morning import add_folder, folder_of
from cabinvigil.daemon.log.find import NightError

EXAMPLE = """examples, the nights of the Lapwing, a trailer:
  cabinvigil log check
  cabinvigil log check nights/ --json
  cabinvigil log mend nights/ -o mended/
  cabinvigil log csv nights/ > nights.csv
"""
Task = Callable[[Path, argparse.Namespace, IO[str], IO[str]], int]
TASKS: Mapping[str, Task] = {
    "check": log_check.run,
    "mend": log_mend.run,
    "csv": log_csv.run,
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("task", choices=tuple(TASKS), help="what to do with the log")
    parser.add_argument(
        "nights",
        nargs="?",
        type=Path,
        metavar="FOLDER",
        help="a folder of nights or one of its files (default: the monitor's own)",
    )
    parser.add_argument(
        "-o",
        "--into",
        type=Path,
        metavar="DIR",
        help="with mend: the folder for the new files (default: mended, beside them)",
    )
    add_folder(parser)
    add_json(parser)


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Do it; return the exit code."""
    if args.into is not None and args.task != "mend":
        raise CallError("only mend writes files; leave -o out")
    if args.json and args.task == "csv":
        raise CallError("csv is for programs already; leave --json out")
    nights = args.nights or folder_of(args, None)
    if nights is None or not (nights.is_dir() or nights.is_file()):
        raise NightError(
            f"{nights}: is neither a folder nor a file; give a folder of nights, or a "
            "night's file"
        )
    return TASKS[args.task](nights, args, out, err)
