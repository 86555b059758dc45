"""Calibrate in fresh air: span O2, zero CO, reset CO2.

Never in a closed cabin: it asks for a typed yes, and refuses unless the air is fresh
and steady as far as the sensors show.
"""

import argparse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import IO, Any

from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from cabinvigil.daemon.ask.socket import no_watch, typed
from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.commands.base import (
    CallError,
    MachineError,
    add_config,
    add_emulated,
    add_json,
    add_units,
    check_range,
    number_in,
)
from cabinvigil.daemon.commands.on_wires import (
    CLOSED,
    FRESH,
    chosen_settings,
    run_on_wires,
)
from cabinvigil.daemon.rehearsal.cabin import fresh_air
from cabinvigil.daemon.settings.config import PartSettings, Settings
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.span.fresh_air import YES, is_yes
from cabinvigil.daemon.span.kept import Span, SpansFile, of_part
from cabinvigil.daemon.span.session import SpanSession
from cabinvigil.daemon.span.table import kept_lines, lines
from cabinvigil.daemon.span.ways import WAYS
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.moments import day_and_time
from cabinvigil.daemon.text.units_said import units_named

EXAMPLE = """examples, beside the Lapwing, a trailer:
  cabinvigil span                     every sensor that can be calibrated
  cabinvigil span bunk-cell bunk-co   these two
  cabinvigil span --kept              what is kept, and how long cells will last
  cabinvigil span --undo bunk-cell    undo its last calibration
  cabinvigil span --emulated          try it on emulated sensors in fresh air
  cabinvigil span --emulated --air closed   see it refuse

Air the cabin first: all doors open for 15 minutes, heater off, and keep your breath
away from the sensors.  Stop the monitor (`systemctl stop cabinvigil`), and start it
again afterwards: it then uses the new calibration.
"""
LEAST_MINUTES, MOST_MINUTES = 1.0, 60.0
AIRS = {"fresh": FRESH, "closed": CLOSED}
Ask = Callable[[str], str]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "part",
        nargs="*",
        metavar="PART",
        help="a sensor's name in the config (default: all that can be calibrated)",
    )
    add_config(parser)
    add_emulated(parser, "try it on emulated sensors; keep nothing except in --state")
    parser.add_argument(
        "--air",
        choices=tuple(AIRS),
        default="fresh",
        help="with --emulated: fresh air, or that of a closed cabin (default: fresh)",
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--look", action="store_true", help="show the readings, and keep nothing"
    )
    what.add_argument(
        "--kept",
        action="store_true",
        help="list the kept calibrations, and how long cells will last",
    )
    what.add_argument(
        "--undo",
        metavar="PART",
        help="undo a sensor's last calibration: the one before it counts again",
    )
    parser.add_argument(
        "--minutes",
        type=number_in("min"),
        metavar="M",
        help="how many minutes to measure (default: 3)",
    )
    parser.add_argument(
        "--co2-ppm",
        type=number_in("ppm"),
        metavar="PPM",
        help=f"carbon dioxide outdoors (default: the config's, or {FRESH_CO2_PPM:.0f})",
    )
    parser.add_argument(
        "--state",
        type=Path,
        metavar="DIR",
        help="keep calibrations in this folder, not the config's",
    )
    parser.add_argument(
        "--yes",
        metavar="WORDS",
        help=f"for scripts, in place of the question: the words {YES!r}",
    )
    add_json(parser)
    add_units(parser)


def run(
    args: argparse.Namespace, out: IO[str], _err: IO[str], *, ask: Ask = typed
) -> int:
    """Span the parts; return the exit code.

    Returns:
        0 done; 1 refused, the air or a part is not fit; 2 the call or the config is
        wrong; 3 a wire or the state folder failed, or the monitor runs.
    """
    settings = chosen_settings(args.config, is_emulated=args.emulated, units=args.units)
    folder = _folder(args, settings)
    if args.undo is not None:
        return _undo(args, settings, folder, out)
    if args.kept:
        return _list(args, settings, folder, out)
    names = _names(args, settings)
    _may_keep(folder)
    if not args.emulated:
        no_watch(settings, "span")
    if not _is_sure(args, names, out, ask):
        raise NotConfirmedError("nothing was calibrated: the sentence was not typed")
    return _span(args, settings, names, folder, out, ask)


@contextmanager
def _on_machine() -> Iterator[None]:
    """Tell what the state folder or a wire refuses; the output's refusal is not theirs.

    Raises:
        MachineError: one of them did.
    """
    try:
        yield
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        raise MachineError(f"{where}{error.strerror or error}") from error


class NotConfirmedError(CabinvigilError):
    """Nobody says that this is fresh air."""

    exit_code = ExitCode.NOT_WELL


def _may_keep(folder: Path | None) -> None:
    """See before the minutes of looking that what they give can be kept.

    Raises:
        MachineError: this user may not write there.
    """
    if folder is not None and (why := SpansFile(folder).why_not_kept()):
        raise MachineError(f"calibrations are {why}")


def _names(args: argparse.Namespace, settings: Settings) -> list[str]:
    """Return the parts to span.

    Raises:
        CallError: one that is not there, or cannot be spanned; or an option is wrong.
    """
    check_range("--minutes", args.minutes, LEAST_MINUTES, MOST_MINUTES)
    check_range(
        "--co2-ppm",
        args.co2_ppm,
        350.0,
        2000.0,
        f"; outdoors it is {FRESH_CO2_PPM:.0f}",
    )
    fit = [name for name, part in settings.parts.items() if part.kind in WAYS]
    for name in args.part:
        kind = _part(settings, name).kind
        if name not in fit:
            raise CallError(
                f"{name} is a {kind}, which is not calibrated; those that are: "
                f"{', '.join(fit) or 'none in this config'}"
            )
    names = list(dict.fromkeys(args.part)) or fit
    if not names:
        raise CallError("the config has no sensor that can be calibrated")
    return names


def _part(settings: Settings, name: str) -> PartSettings:
    """Return a part of the config.

    Raises:
        CallError: it has none of that name.
    """
    if name not in settings.parts:
        raise CallError(
            f"the config has no sensor {name!r}; it has {', '.join(settings.parts)}"
        )
    return settings.parts[name]


def _folder(args: argparse.Namespace, settings: Settings) -> Path | None:
    """Return where spans are kept; None where nothing is to be kept.

    Raises:
        CallError: a monitor would use the spans of emulated parts.
    """
    own = Path(settings.watch.state_folder)
    if args.state is not None:
        folder = Path(args.state)
        only_reads = args.kept or args.undo is not None or args.look
        if args.emulated and not only_reads and folder.resolve() == own.resolve():
            raise CallError(
                f"--state {folder} is the monitor's own, which would use calibrations "
                "of emulated sensors; name another folder"
            )
        return folder
    return None if args.emulated else own


def _list(
    args: argparse.Namespace, settings: Settings, folder: Path | None, out: IO[str]
) -> int:
    spans = _kept(folder)
    if args.part:
        known = {*settings.parts, *(span.part for span in spans)}
        for name in args.part:
            if name not in known:
                _part(settings, name)
        spans = [span for span in spans if span.part in args.part]
    if args.json:
        print(json_line({"spans": [_plain(span) for span in spans]}), file=out)
    else:
        units = units_named(settings.cabin.units)
        for line in kept_lines(spans, settings.parts, units):
            print(line, file=out)
    return ExitCode.DONE


def _kept(folder: Path | None) -> list[Span]:
    with _on_machine():
        return [] if folder is None else SpansFile(folder).load()


def _undo(
    args: argparse.Namespace, settings: Settings, folder: Path | None, out: IO[str]
) -> int:
    """Take a part's last span back; what was before it counts again.

    Raises:
        CallError: there is no such part, or no span of it that counts.
    """
    if args.part:
        raise CallError("--undo is for one sensor: name no other")
    spans = _kept(folder)
    kept = [span for span in spans if span.part == args.undo]
    if kept and args.undo not in settings.parts:
        raise CallError(
            f"the config has no sensor {args.undo!r}: none of its calibrations in "
            "--kept counts"
        )
    part = _part(settings, args.undo)
    own = of_part(spans, args.undo, part.kind, part.in_service)
    if kept and not own:
        raise CallError(
            f"no calibration of {args.undo} in --kept counts: each is of an earlier "
            "sensor, refused, or undone"
        )
    if folder is None or not own:
        raise CallError(f"no calibration of {args.undo} is kept that could be undone")
    if not args.emulated:
        no_watch(settings, "span")
    clock = SystemClock()
    why = f"undone {day_and_time(clock.wall())}"
    with _on_machine():
        SpansFile(folder).undo(own[-1], why, clock.wall(), clock.monotonic())
    left = _plain(own[-2]) if len(own) > 1 else None
    if args.json:
        print(json_line({"undone": _plain(own[-1]), "counts": left}), file=out)
        return ExitCode.DONE
    now = f"that of {day_and_time(own[-2].at)}" if left else "only the config's own"
    print(
        f"{args.undo}: the calibration of {day_and_time(own[-1].at)} no longer "
        f"counts; now it is {now}. Start the monitor again to use it.",
        file=out,
    )
    return ExitCode.DONE


def _plain(span: Any) -> dict[str, Any]:
    return {
        "part": span.part,
        "kind": span.kind,
        "at": span.at.isoformat(),
        "signal": span.signal,
        "unit": span.unit,
        "options": dict(span.options),
        **({"void": span.void} if span.void else {}),
    }


def _is_sure(
    args: argparse.Namespace, names: list[str], out: IO[str], ask: Ask
) -> bool:
    """Ask for the yes, where it was not given with the call."""
    if args.yes is not None:
        return is_yes(args.yes)
    if args.look:
        return True
    print(
        f"What {', '.join(names)} read now will count as fresh outdoor air. Every "
        "alarm depends on it.",
        file=out,
    )
    print(f"If the air is fresh, type:  {YES}", file=out, flush=True)
    return is_yes(ask("> "))


def _span(
    args: argparse.Namespace,
    settings: Settings,
    names: list[str],
    folder: Path | None,
    out: IO[str],
    ask: Ask,
) -> int:
    if args.co2_ppm is not None:
        cabin = changed(settings.cabin, outdoor_co2_ppm=args.co2_ppm)
        settings = replace(settings, cabin=cabin)
    unsaid: list[OSError] = []

    def say(line: str) -> None:
        if args.json:
            return
        try:
            print(line, file=out, flush=True)
        except OSError as error:
            unsaid.append(error)
            raise

    session = SpanSession(
        settings,
        tuple(names),
        folder,
        look_s=None if args.minutes is None else 60.0 * args.minutes,
        only_look=bool(args.look),
        say=say,
        ask=ask,
        is_quick=bool(args.emulated),
    )
    air = None
    if args.emulated:
        hpa = fresh_air(settings.cabin).pressure_hpa
        air = replace(AIRS[args.air], pressure_hpa=hpa)
    try:
        with _on_machine():
            outcome = run_on_wires(session.run, settings, air)
    except MachineError:
        if unsaid:  # the output's own
            raise unsaid[0] from None
        raise
    if args.json:
        print(json_line(outcome.as_plain()), file=out)
    else:
        units = units_named(settings.cabin.units)
        for line in lines(outcome, is_emulated=air is not None, units=units):
            print(line, file=out)
    return ExitCode.DONE if outcome.is_good else ExitCode.NOT_WELL
