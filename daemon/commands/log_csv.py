"""`cabinvigil log csv`: the nights as rows that a person plots the next day."""

import argparse
import csv
from pathlib import Path
from typing import IO

from cabinvigil.daemon.commands.base import print_note
from cabinvigil.daemon.commands.morning import read
from cabinvigil.daemon.log.find import NightError, by_night
from cabinvigil.daemon.log.keys import air_keys
from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.report.night_rows import HEAD, channels_of, rows_of
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.terminal import progress


def run(nights: Path, _args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Print the rows; it is not well where something of the log could not be read.

    Raises:
        NightError: there is no night that can be read.
    """
    wanted = by_night(nights) if nights.is_dir() else {nights.name: [nights]}
    writer = csv.writer(out, lineterminator="\n")
    is_whole, has_begun = True, False
    size = sum(one.stat().st_size for paths in wanted.values() for one in paths)
    with progress(2.0 * size, "reading nights", err) as advance:
        columns = channels_of(air_keys(wanted.values(), advance))
        for name, paths in wanted.items():
            tape, why = _read(paths)
            advance(sum(one.stat().st_size for one in paths))
            if tape is None or not tape.flaws.is_clean:
                is_whole = False
                told = [why] if tape is None else tape.flaws.told
                for text in told:
                    print_note(f"{name}: {text}", err)
            if tape is None:
                continue
            if not has_begun:
                writer.writerow((*HEAD, *columns))
                has_begun = True
            writer.writerows(rows_of(tape, columns))
    if not has_begun:
        raise NightError(f"{nights}: holds no line of a night's log")
    return ExitCode.DONE if is_whole else ExitCode.NOT_WELL


def _read(paths: list[Path]) -> tuple[NightSeries | None, str]:
    """Read a night; None, and why, where there is nothing to read."""
    try:
        return read(paths), ""
    except NightError as error:
        return None, str(error)
