"""`cabinvigil log check`: what each file of the log holds, and what of it is wrong."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import IO

from cabinvigil.daemon.log.check import doubled, left_over
from cabinvigil.daemon.log.find import all_files
from cabinvigil.daemon.log.survey import Survey, look_at, size_of
from cabinvigil.daemon.report.log_check import Checked, as_json, words
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.terminal import progress


def run(nights: Path, args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Check a folder, or one file; it is not well where one is damaged or doubled.

    Raises:
        NightError: the folder holds no night, or cannot be read.
    """
    files = files_of(nights)
    surveys = surveyed(files, err)
    others = left_over(nights, files) if nights.is_dir() else []
    found = Checked(nights, surveys, doubled(surveys), others)
    if args.json:
        print(json_line(as_json(found)), file=out)
    else:
        out.writelines(f"{line}\n" for line in words(found))
    return ExitCode.DONE if found.is_well else ExitCode.NOT_WELL


def files_of(nights: Path) -> list[Path]:
    """List the files of a folder in their true order, doubles and all.

    Raises:
        NightError: it holds none, or cannot be read.
    """
    if not nights.is_dir():
        return [nights]
    return [one.path for one in all_files(nights)]


def surveyed(files: Sequence[Path], err: IO[str]) -> list[Survey]:
    """Go through each file's lines, and show how far it is."""
    surveys = []
    total = size_of(*files)
    with progress(total, "reading nights", err) as advance:
        for path in files:
            surveys.append(look_at(path))
            advance(surveys[-1].size)
    return surveys
