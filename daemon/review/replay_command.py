"""Put a recorded night, a CSV file or a night's log, through the rules of today.

The same decisions as on the night itself: what rang then rings now.
"""

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from cabinvigil.daemon.core.model import Transition
from cabinvigil.daemon.review.logbook import Logbook
from cabinvigil.daemon.review.recording import Recording, RecordingError
from cabinvigil.daemon.review.replay import (
    Decided,
    is_log,
    replay_columns,
    replay_log,
)
from cabinvigil.daemon.review.spelling import spell
from cabinvigil.daemon.settings import Cabin, ConfigError, Settings, load, standard
from cabinvigil.daemon.words_loading import renderer

EXAMPLE = """example:
  cabinvigil replay night-2026-01-16.jsonl --json --estimates
  cabinvigil replay lapwing.csv --config cabin.toml
"""
WRONG = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "file", type=Path, help="CSV with time_s and quantities, or a night's log"
    )
    parser.add_argument("--json", action="store_true", help="JSON Lines, for programs")
    parser.add_argument(
        "--estimates", action="store_true", help="tell the trend's estimate each minute"
    )
    parser.add_argument(
        "--config",
        type=Path,
        metavar="FILE",
        help="limits and cabin to replay with (a log brings its own)",
    )


def decide(path: Path, settings: Settings | None) -> Decided:
    """Replay a file, of whichever kind it is.

    Raises:
        RecordingError, ConfigError: the file cannot be replayed.
    """
    if is_log(path):
        if not path.is_file():
            raise RecordingError(f"{path}: is not there; give the path of a log")
        render = renderer("en" if settings is None else settings.watch.language)
        return replay_log(Logbook(path), settings, render, path)
    recording = Recording(path)
    known = settings or standard(Cabin(name="recording"))
    return replay_columns(recording, known, renderer(known.watch.language))


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Replay and tell; return the exit code."""
    try:
        settings = None if args.config is None else load(args.config)
        decided = decide(args.file, settings)
        lines = _json(decided, args.estimates) if args.json else _words(decided)
        for line in lines:
            print(line, file=out)
    except (RecordingError, ConfigError) as error:
        print(f"cabinvigil: {error}", file=err)
        return WRONG
    return 0


def _json(decided: Decided, estimates: bool) -> Iterator[str]:
    for time_s, commands in decided:
        for command in commands:
            spelled = spell(command, time_s, estimates=estimates)
            if spelled is not None:
                yield json.dumps(spelled, allow_nan=False, default=str)


def hours(time_s: float) -> str:
    """Write seconds as hours, minutes and seconds."""
    sign = "-" if time_s < 0 else ""
    whole = int(abs(time_s))
    return f"{sign}{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"


def _words(decided: Decided) -> Iterator[str]:
    rang = 0
    for time_s, commands in decided:
        for command in commands:
            if isinstance(command, Transition):
                rang += 1
                yield (
                    f"{hours(time_s):>9}  {command.alarm} ({command.priority.word}): "
                    f"{command.was.value} -> {command.state.value}. {command.text}"
                )
    if not rang:
        yield "Nothing rang."
