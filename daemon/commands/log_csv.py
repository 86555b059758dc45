"""`cabinvigil log csv`: the nights as rows that a person plots the next day."""

import argparse
import csv
from pathlib import Path
from typing import IO

from cabinvigil.daemon.commands.base import print_note
from cabinvigil.daemon.commands.morning import read
from cabinvigil.daemon.log.find import (
    Chosen,
    NightError,
    OtherNightError,
    all_nights,
    files,
)
from cabinvigil.daemon.log.keys import MOST_KEYS, air_keys
from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.log.survey import size_of
from cabinvigil.daemon.report.night_rows import HEAD, channels_of, rows_of
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.terminal import progress


def run(nights: Path, _args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Print the rows; it is not well where something of the log could not be read.

    Raises:
        NightError: there is no night that can be read.
    """
    wanted = all_nights(nights) if nights.is_dir() else [files(nights)]
    writer = csv.writer(out, lineterminator="\n")
    left_out: list[str] = []
    has_begun = False
    size = size_of(*(one for night in wanted for one in night.named))
    with progress(2.0 * size, "reading nights", err) as advance:
        keys = air_keys([night.named for night in wanted], advance)
        if len(keys) == MOST_KEYS:
            left_out.append(
                f"it has {MOST_KEYS} series or more; the others are left out"
            )
        columns = channels_of(keys)
        for night in wanted:
            tape, flaws = _read(night)
            left_out += [f"{night.name}: {flaw}" for flaw in flaws]
            advance(size_of(*night.named))
            if tape is None:
                continue
            if not has_begun:
                writer.writerow((*HEAD, *columns))
                has_begun = True
            writer.writerows(rows_of(tape, columns))
    if not has_begun:
        raise NightError(
            f"{nights}: holds no line of a night's log; give a folder of nights, or a "
            "file like night-2026-01-16.jsonl"
        )
    for text in left_out:
        print_note(text, err)
    return ExitCode.NOT_WELL if left_out else ExitCode.DONE


def _read(night: Chosen) -> tuple[NightSeries | None, list[str]]:
    """Read a night, and tell what of it could not be; None: nothing could."""
    try:
        tape = read(night).whole()
    except OtherNightError:
        return None, []  # its rows come with that night
    except NightError as error:
        return None, [str(error)]
    return tape, [] if tape.flaws.is_clean else tape.flaws.told
