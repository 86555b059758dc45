"""Play a night on emulated sensors: no hardware, the same monitor, hours in seconds.

Shows the verdict, what a sleeper would hear and a phone would get, and the true air.
"""

import argparse
import asyncio
import os
import signal
import tempfile
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import asdict, replace
from datetime import datetime, tzinfo
from pathlib import Path
from typing import IO, Any, NamedTuple

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.commands.base import (
    CallError,
    add_config,
    add_json,
    add_log,
    add_units,
    check_range,
    number_in,
    print_note,
    units_of,
)
from cabinvigil.daemon.commands.emulated_spans import emulated_spans
from cabinvigil.daemon.commands.rehearse_log import RehearsedLog
from cabinvigil.daemon.core.model import Command
from cabinvigil.daemon.log.csv import Recording
from cabinvigil.daemon.log.moments import TRAILERS_ZONE, played_in
from cabinvigil.daemon.outputs.base import Output
from cabinvigil.daemon.planning.advice import vent_sentence
from cabinvigil.daemon.planning.figures import cabin_plan, from_config
from cabinvigil.daemon.planning.plan import plan
from cabinvigil.daemon.rehearsal import loudspeaker
from cabinvigil.daemon.rehearsal.account import account, clock_from, not_begun, verdict
from cabinvigil.daemon.rehearsal.cabin import Truth
from cabinvigil.daemon.rehearsal.fitted import fit, staged, with_contacts
from cabinvigil.daemon.rehearsal.live import LiveClock, LiveEnds
from cabinvigil.daemon.rehearsal.narrator import LineWriter, Narrator
from cabinvigil.daemon.rehearsal.nights import ended_before
from cabinvigil.daemon.rehearsal.play import (
    MakeOutputs,
    Rehearsal,
    emulated_night,
    play,
    start_in,
)
from cabinvigil.daemon.rehearsal.recorded import RecordedAir
from cabinvigil.daemon.rehearsal.trials import PLAYS
from cabinvigil.daemon.rehearsal.virtual import run_paced
from cabinvigil.daemon.replay.json_lines import spell
from cabinvigil.daemon.service.outlets import forms_of
from cabinvigil.daemon.settings.config import Settings, example, load
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import dumps, json_line
from cabinvigil.daemon.text.languages import partly_spoken
from cabinvigil.daemon.text.terminal import UNSEEN, Bar, progress
from cabinvigil.daemon.text.time_zones import system_zone
from cabinvigil.daemon.text.units_said import Units
from cabinvigil.daemon.text.wrapping import wrap

EXAMPLE = """nights:
{nights}

examples, the Lapwing, a trailer:
  cabinvigil rehearse shut
  cabinvigil rehearse icing --log nights/ --json
  cabinvigil rehearse shut --live --pace 20
""".format(
    nights="\n".join(f"  {word:<8}  {night.title}" for word, night in PLAYS.items())
)
COLUMNS = 80
MOST_HOURS = 24.0
TICK_S = 2.0
"""Half as often as on a Pi: a night of nine hours then takes about twenty seconds."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "night",
        nargs="?",
        default="shut",
        choices=tuple(PLAYS),
        metavar="NIGHT",
        help="one of the nights below (default: shut)",
    )
    add_json(parser, lines=True)
    add_log(
        parser,
        "keep the night's log there; refused if it holds a night of that date",
        "DIR",
    )
    parser.add_argument(
        "--air",
        type=Path,
        metavar="FILE",
        help="play recorded air from a CSV file instead of a night: interpolated, "
        "blank cells too (in `replay` they are silence)",
    )
    parser.add_argument(
        "--pace",
        type=float,
        default=0.0,
        metavar="N",
        help="N times real time; 1 is real time, 0 as fast as it goes",
    )
    parser.add_argument(
        "--live",
        action="store_true",
        help="run it like the monitor, in real time, so that `show` and phones can "
        "use it",
    )
    parser.add_argument(
        "--socket",
        type=Path,
        metavar="PATH",
        help="with --live: the socket for `show` and `mark`",
    )
    parser.add_argument(
        "--sound",
        action="store_true",
        help="with --live: play the sounder's patterns on the loudspeaker",
    )
    add_config(parser, "play it in the cabin of this config")
    parser.add_argument(
        "--hours", type=number_in("h"), metavar="H", help="end after H hours"
    )
    parser.add_argument(
        "--tick-s",
        type=number_in("s"),
        default=TICK_S,
        metavar="S",
        help=f"judge the air every S seconds (default: {TICK_S:g})",
    )
    parser.add_argument(
        "--seed",
        type=int,
        default=1,
        metavar="N",
        help="another seed gives the sensors different noise (1)",
    )
    add_units(parser)


def _check(args: argparse.Namespace) -> None:
    """Refuse what cannot be played.

    Raises:
        CallError: with one sentence.
    """
    if not 0.0 <= args.pace <= 1e6:
        raise CallError("--pace must lie between 0 and 1000000; 1 is real time")
    if args.hours is not None and not 0.0 < args.hours <= MOST_HOURS:
        raise CallError(f"--hours must lie between 0 and {MOST_HOURS:g}")
    if not args.live and (args.socket is not None or args.sound):
        raise CallError("--socket and --sound need --live; add it")
    if args.live and args.air is None and args.json:
        raise CallError("--live prints for people; leave out --json or --live")
    if args.sound and not loudspeaker.is_there():
        raise CallError(
            "--sound plays by aplay, which is not here; install alsa-utils, or leave "
            "--sound out"
        )
    check_range("--tick-s", args.tick_s, 0.5, 60.0, " seconds")


def _zone(args: argparse.Namespace, settings: Settings) -> tzinfo:
    """Return the zone of all its moments: a live one's is the machine's own."""
    if args.live and settings.cabin.zone is None:
        return SystemClock().wall().astimezone().tzinfo or TRAILERS_ZONE
    return played_in(settings.cabin.zone)


def _begins(args: argparse.Namespace, settings: Settings) -> datetime:
    return SystemClock().wall() if args.live else start_in(_zone(args, settings))


def _settings(args: argparse.Namespace) -> Settings:
    settings = example() if args.config is None else load(args.config)
    watch, cabin = changed(settings.watch, tick_s=args.tick_s), settings.cabin
    if args.live and cabin.zone is None:
        cabin = changed(cabin, zone=system_zone() or None)  # by the machine's clock
    return replace(settings, watch=watch, cabin=cabin)


class _Evening(NamedTuple):
    """What is to be played."""

    rehearsal: Rehearsal
    title: str
    notes: tuple[str, ...]
    """What has to be said of it beforehand; a sentence each."""


def _evening(args: argparse.Namespace, settings: Settings) -> _Evening:
    watch, units = settings.watch, units_of(args, settings.cabin.units)
    render = renderer(watch.language, watch.words, units)
    if args.air is None:
        spans = emulated_spans(settings, args.seed)
        fitted = fit(args.night, settings, units)
        settings = staged(args.night, settings)
        made = emulated_night(
            settings, render, fitted.night, args.hours, args.seed, spans.make
        )
        pace = (args.pace or 1.0) if args.live else 1.0
        clock = clock_from(_begins(args, settings), _zone(args, settings), pace)
        cut = ended_before(fitted.night, args.hours, clock)
        title = f"'{args.night}': {fitted.night.title}"
        return _Evening(made, title, (*fitted.notes, *spans.refused, *cut))
    recording = Recording(args.air)
    settings, notes = with_contacts(settings, recording.channels)
    spans = emulated_spans(settings, args.seed)
    air = RecordedAir(recording)
    hours = air.hours if args.hours is None else min(args.hours, air.hours)
    made = Rehearsal(settings, render, air, hours, (), args.seed, make=spans.make)
    return _Evening(made, f"recorded air {args.air}", (*notes, *spans.refused))


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Rehearse and tell; return the exit code."""
    _check(args)
    settings = _settings(args)
    log = None
    if args.log is not None:
        log = RehearsedLog(args.log, _zone(args, settings))
        log.refuse_second(_begins(args, settings))
    evening = _evening(args, settings)
    if partial := partly_spoken(settings.watch.language):
        evening = evening._replace(notes=(*evening.notes, partial))
    if args.json:
        for note in evening.notes:
            print_note(note, err)
    # A rehearsal by the clock shows by itself how far it is.
    is_quick = not args.live and not args.pace
    total_s = evening.rehearsal.hours * 3600.0
    bar = progress(total_s, "rehearsing", err) if is_quick else nullcontext(UNSEEN)
    with bar as shown:
        _play(args, evening, log, out, shown)
    if log is not None:
        log.check()
    return ExitCode.DONE


async def _live(
    args: argparse.Namespace,
    rehearsal: Rehearsal,
    make_outputs: MakeOutputs,
    on_truth: Callable[[Truth], None],
    out: IO[str],
) -> None:
    """Play it where it can be asked, and heard at the broker."""
    ends = LiveEnds(
        rehearsal.settings,
        _socket_of(args, rehearsal.settings),
        with_sound=args.sound,
        say=lambda line: print(line, file=out, flush=True),
    )
    if (task := asyncio.current_task()) is not None:
        for number in (signal.SIGTERM, signal.SIGINT):
            asyncio.get_running_loop().add_signal_handler(number, task.cancel)
    try:
        await play(
            rehearsal,
            lambda clock, report: [*ends.outputs(), *make_outputs(clock, report)],
            on_truth,
            make_clock=LiveClock,
            beside=ends.beside,
        )
    except asyncio.CancelledError:
        print("Ended early, in order: no phone reports it as silent.", file=out)


def _socket_of(args: argparse.Namespace, settings: Settings) -> Path:
    """Return where it can be asked: as told, by its config, or a place of one's own.

    The config's folder is the daemon's: away from the cabin's Pi there is none.
    """
    if args.socket is not None:
        return Path(args.socket)
    if args.config is not None and Path(settings.ask.socket).parent.is_dir():
        return Path(settings.ask.socket)
    own = os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir()
    return Path(own) / f"cabinvigil-rehearsal-{os.getuid()}"


def _play(
    args: argparse.Namespace,
    evening: _Evening,
    log: RehearsedLog | None,
    out: IO[str],
    shown: Bar,
) -> None:
    rehearsal, title, notes = evening
    truths: list[Truth] = []

    def say(line: str) -> None:
        with shown.aside():
            print(line, file=out, flush=args.live)

    cabin = rehearsal.settings.cabin.name
    forms = forms_of(rehearsal.settings)
    zone, begins = _zone(args, rehearsal.settings), _begins(args, rehearsal.settings)
    # One by the clock speaks as it goes; of a quick one the verdict comes first.
    held: list[str] = []
    is_held = not args.live and not args.pace
    narrator = Narrator(
        (lambda _line: None) if args.json else held.append if is_held else say,
        zone,
        lambda alert: forms.for_the_second(alert, cabin),
    )

    def write(command: Command, time_s: float) -> None:
        spelled = spell(command, time_s, estimates=True)
        if spelled is not None:
            say(dumps(spelled))

    def on_truth(truth: Truth) -> None:
        shown(truth.time_s - (truths[-1].time_s if truths else 0.0))
        truths.append(truth)
        if args.json:
            say(json_line({"event": "truth"} | asdict(truth)))

    def make_outputs(clock: Any, report: Any) -> list[Output]:
        outputs: list[Output] = [narrator]
        if args.json:
            outputs.append(LineWriter(write))
        if log is not None:
            outputs.append(log.output(clock, report))
        return outputs

    if not args.json:
        say(f"Rehearsal on emulated sensors. {title}.")
        for note in () if is_held else notes:
            say(note)
    if args.live:
        run_paced(_live(args, rehearsal, make_outputs, on_truth, out), args.pace or 1.0)
    else:
        run_paced(play(rehearsal, make_outputs, on_truth), args.pace)
    if not args.json:
        name = "" if args.air else args.night
        units = units_of(args, rehearsal.settings.cabin.units)
        pace = args.pace or 1.0
        clock = clock_from(begins, zone, pace if args.live else 1.0)
        woken = list(verdict(truths, narrator.rings, clock))
        if name == "quiet" and narrator.has_woken:
            woken += wrap(_why_not_quiet(rehearsal.settings, units), COLUMNS)
        until_s = truths[-1].time_s if truths else 0.0
        woken += wrap(not_begun(rehearsal.acts, narrator.trials, until_s), COLUMNS)
        facts = list(account(name, truths, units, clock))
        ordered = [*woken, *notes, "", *held, *facts] if is_held else [*facts, *woken]
        for line in ordered:
            say(line)


def _why_not_quiet(settings: Settings, units: Units) -> str:
    """Return what the plan makes of vents that did not keep a quiet night quiet."""
    cabin = settings.cabin
    given = from_config(cabin)
    if cabin.burner_low_kw is not None:
        given["burner_kw"] = cabin.burner_low_kw
    planned = plan(cabin_plan(given, units=units))
    advice = vent_sentence(planned)
    if not advice:
        return ""
    return (
        "It was not quiet: by the plan, these vents are too small for the heater on "
        f"low. {advice} `cabinvigil plan` shows the rest."
    )
