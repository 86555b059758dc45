"""Run a recorded night, a CSV file or a log, through the rules of today.

The same decisions as on the night itself: what sounded then sounds now.  With --limits,
one night or many are put through twice, and what other limits would change is a table.
"""

import argparse
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import IO

from cabinvigil.daemon.commands.base import (
    CallError,
    add_config,
    add_json,
    add_units,
    print_note,
)
from cabinvigil.daemon.core.model import AlarmState, Priority, Transition
from cabinvigil.daemon.core.setup import Render
from cabinvigil.daemon.log.csv import Recording, RecordingError
from cabinvigil.daemon.log.doubles import stem_of
from cabinvigil.daemon.log.find import by_night
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.log.survey import size_of
from cabinvigil.daemon.replay.json_lines import spell
from cabinvigil.daemon.replay.limits_diff import Followed, table
from cabinvigil.daemon.replay.other_limits import read_limits
from cabinvigil.daemon.replay.replay import (
    Decided,
    is_log,
    replay_columns,
    replay_log,
)
from cabinvigil.daemon.replay.replayed import Note, unsaid
from cabinvigil.daemon.replay.ring_diff import RingDiff, as_json, lines
from cabinvigil.daemon.settings.config import Cabin, Settings, load, standard
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.daemon.text.alarm_names import name_of_alarm, state_said, urgency
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.languages import partly_spoken
from cabinvigil.daemon.text.moments import since_start, time_of_day
from cabinvigil.daemon.text.terminal import Advance, progress, unseen
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import SYSTEMS, Units, units_named

EXAMPLE = """examples, nights of the Lapwing, a trailer:
  cabinvigil replay night-2026-01-16.jsonl --json --estimates
  cabinvigil replay lapwing.csv --config cabin.toml
  cabinvigil replay nights/
  cabinvigil replay nights/ --limits stricter.toml

where stricter.toml holds what to try, every step of a list; other keys stay:
  [alarm.co2-level]
  steps = [
    { at = 2500.0, priority = "low" },
    { at = 5000.0, priority = "medium", over_s = 28_800.0 },
    { at = 10_000.0, priority = "medium" },
    { at = 30_000.0, priority = "high" },
    { at = 15_000.0, priority = "high", over_s = 900.0 },
  ]
"""


FIRST_LINES = 100
"""A log begins with its start; where that is torn off, another may follow soon."""


@dataclass(slots=True)
class Moments:
    """What the clock showed at each step of a log; nothing for a CSV."""

    followed: Followed | None = None
    places: dict[float, tuple[int, float]] = field(default_factory=dict)
    """By the replay's own time, the run and its `up_s`."""

    def said(self, time_s: float) -> str:
        """Write a step's time of day; without a clock, since the start: `+2:39:13`."""
        wall = None
        if self.followed is not None and time_s in self.places:
            wall = self.followed.moment(*self.places[time_s])
        if wall is None:
            return f"+{since_start(time_s)}"
        return time_of_day(wall, to_seconds=True)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "files",
        type=Path,
        nargs="+",
        metavar="NIGHT",
        help="CSV with time_s and quantities, a night's log, or a folder of nights",
    )
    add_json(parser, lines=True)
    parser.add_argument(
        "--estimates", action="store_true", help="show the trend's estimate each minute"
    )
    add_units(parser)
    add_config(parser, "limits and cabin to replay with (a log has its own)")
    parser.add_argument(
        "--limits",
        type=Path,
        metavar="FILE",
        help="compare alarms with these limits: new, lost, earlier, later",
    )


def decide(
    path: Path,
    settings: Settings | None,
    note: Note = unsaid,
    units: Units | None = None,
    advance: Advance = unseen,
    moments: Moments | None = None,
) -> Decided:
    """Replay a file, of whichever kind it is.

    Args:
        path: the file.
        settings: stand in for what the log says it was run with.
        note: told what the log does not say, or what of it could not be read.
        units: in which sentences are said; None: as the config has them.
        advance: takes how many bytes more of a log were read.
        moments: takes what the clock of a log showed.

    Raises:
        RecordingError, ConfigError: the file cannot be replayed.
    """
    if is_log(path):
        if not path.is_file():
            raise RecordingError(f"{path}: not found; give the path of a log")
        return _decide_log([path], settings, note, units, advance, moments)
    recording = Recording(path)
    for text in recording.notes():
        note(text)
    known = settings or standard(Cabin(name="recording"))
    units = units or units_named(known.cabin.units)
    return replay_columns(recording, known, _voice(known.watch.language, units))


def _voice(language: str, units: Units) -> Render:
    """Return what says sentences; those that the log holds, of faults, in units too."""
    say = renderer(language, None, units)
    return lambda *told: retold(say(*told), units)


def _own_units(paths: Sequence[Path]) -> object:
    """Return the word for a log's own units; None where its first start has none."""
    for line in islice(Logbook(*paths), FIRST_LINES):
        config = line.fields.get("config") if line.event == "start" else None
        cabin = config.get("cabin") if isinstance(config, Mapping) else None
        if isinstance(cabin, Mapping):
            return cabin.get("units")
    return None


def _decide_log(
    paths: Sequence[Path],
    settings: Settings | None,
    note: Note,
    units: Units | None,
    advance: Advance,
    moments: Moments | None = None,
) -> Decided:
    if settings is None:
        render = _voice("en", units or units_named(_own_units(paths)))
    else:
        own = units_named(settings.cabin.units)
        render = _voice(settings.watch.language, units or own)
    logbook, path = Followed(paths, advance), paths[0]
    moments = moments or Moments()
    moments.followed = logbook

    def of_it(text: str) -> None:
        note(f"{path.name}: {text}")

    is_empty = True
    for decided in replay_log(logbook, settings, render, path, note=of_it):
        is_empty = False
        if decided[1]:
            moments.places[decided[0]] = logbook.run, logbook.up_s
        yield decided
    if is_empty:
        raise RecordingError(
            f"{path}: holds no line of a night's log; give a file like "
            "night-2026-01-16.jsonl or its .gz"
        )
    for text in logbook.logbook.flaws.told:
        note(text)


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Replay and tell; return the exit code."""
    settings = None if args.config is None else load(args.config)
    partial = "" if settings is None else partly_spoken(settings.watch.language)
    if partial and not args.json:
        print_note(partial, err)
    if args.limits is not None:
        for line in _table(args, settings, err):
            print(line, file=out)
        return ExitCode.DONE
    size = size_of(*(one for path in args.files for one in _files(path)))
    with progress(size, "replaying", err) as shown:
        for line in _told(args, settings, err, shown):
            with shown.aside():
                print(line, file=out)
    return ExitCode.DONE


def _files(path: Path) -> list[Path]:
    """List the files of what is meant; nothing where it is not there."""
    if path.is_dir():
        return [one for _, paths in by_night(path).items() for one in paths]
    return [path] if path.is_file() else []


def _table(
    args: argparse.Namespace, settings: Settings | None, err: IO[str]
) -> Iterator[str]:
    rows = _compared(args, settings, err)
    return (json_line(as_json(row)) for row in rows) if args.json else lines(rows)


def _told(
    args: argparse.Namespace,
    settings: Settings | None,
    err: IO[str],
    advance: Advance,
) -> Iterator[str]:
    if len(args.files) > 1 or args.files[0].is_dir():
        return _each(args, settings, err, advance)
    moments = Moments()
    decided = decide(
        args.files[0],
        settings,
        lambda text: print_note(text, err),
        SYSTEMS.get(args.units),
        advance,
        moments,
    )
    return _json(decided, args.estimates) if args.json else _words(decided, moments)


def _each(
    args: argparse.Namespace,
    settings: Settings | None,
    err: IO[str],
    advance: Advance,
) -> Iterator[str]:
    """Replay several nights, one after the other, each under its name."""
    failed: list[RecordingError] = []
    wanted = [night for path in args.files for night in _nights(path)]
    for name, paths in wanted:
        try:
            yield from _of_night((name, paths), args, settings, err, advance)
        except RecordingError as error:
            failed.append(error)
    if len(failed) == len(wanted):
        raise failed[0]
    for why in failed:
        print_note(f"{why}: it is skipped.", err)


def _of_night(
    night: tuple[str, Sequence[Path]],
    args: argparse.Namespace,
    settings: Settings | None,
    err: IO[str],
    advance: Advance,
) -> Iterator[str]:
    name, paths = night

    def note(text: str) -> None:
        print_note(text, err)

    units, moments = SYSTEMS.get(args.units), Moments()
    if is_log(paths[0]):
        decided = _decide_log(paths, settings, note, units, advance, moments)
    else:
        decided = decide(paths[0], settings, note, units, advance)
    if args.json:
        yield from _json(decided, args.estimates, {"night": name})
        return
    words = _words(decided, moments)
    first = next(words)  # a night that cannot be replayed is not named as if it were
    yield from (name, first)
    yield from words


def _compared(
    args: argparse.Namespace, settings: Settings | None, err: IO[str]
) -> Sequence[RingDiff]:
    """Put every night through both limits."""
    if args.estimates:
        raise CallError("--limits compares only alarms; leave out --estimates")
    limits = read_limits(args.limits)
    wanted = [night for path in args.files for night in _nights(path)]
    size = sum(path.stat().st_size for _, paths in wanted for path in paths)
    with progress(2.0 * size, "replaying nights", err) as advance:
        return list(
            table(wanted, limits, settings, advance, lambda text: print_note(text, err))
        )


def _nights(path: Path) -> Iterator[tuple[str, list[Path]]]:
    """Yield a name and the files of what is meant: one night, or a folder of them."""
    if path.is_dir():
        yield from by_night(path).items()
    elif path.is_file():
        yield stem_of(path), [path]
    else:
        raise RecordingError(
            f"{path}: not found; give a night's log, a CSV file, or a folder of nights"
        )


def _json(
    decided: Decided, estimates: bool, head: Mapping[str, str] = MappingProxyType({})
) -> Iterator[str]:
    for time_s, commands in decided:
        for command in commands:
            spelled = spell(command, time_s, estimates=estimates)
            if spelled is not None:
                yield json_line({**head, **spelled})


def _words(decided: Decided, moments: Moments) -> Iterator[str]:
    """Yield the verdict, then each change of an alarm."""
    changes = [
        (time_s, command)
        for time_s, commands in decided
        for command in commands
        if isinstance(command, Transition)
    ]
    yield _verdict(changes, moments)
    for time_s, change in changes:
        yield (
            f"{moments.said(time_s):>9}  {urgency(change.priority.word):<6}  "
            f"{name_of_alarm(change.alarm)}: {state_said(change.state.value)}. "
            f"{change.text}"
        )


def _verdict(changes: Sequence[tuple[float, Transition]], moments: Moments) -> str:
    """Return in one sentence who would have been woken, when, and by what."""
    if not changes:
        return "No alarm sounded."
    waking = {
        change.alarm: (time_s, change)
        for time_s, change in reversed(changes)
        if change.priority >= Priority.MEDIUM
        and change.state is AlarmState.UNACKNOWLEDGED
    }
    if not waking:
        return "Nothing woke anyone."
    time_s, first = min(waking.values(), key=lambda one: one[0])
    said = moments.said(time_s)
    is_elapsed = said.startswith("+")
    when = f"{said[1:]} after the start" if is_elapsed else f"at {said}"
    alarms = "1 alarm wakes" if len(waking) == 1 else f"{len(waking)} alarms wake"
    return (
        f"{alarms} people, the first {when}: "
        f"{name_of_alarm(first.alarm)} ({urgency(first.priority.word)})."
    )
