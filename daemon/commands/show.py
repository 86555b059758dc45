"""Show the cabin's air as it is now: also over ssh on a phone, 40 columns.

Asks the running watch over its socket; Ctrl-C ends it.
"""

import argparse
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING

from cabinvigil.daemon.ask.socket import AskError, ask_status
from cabinvigil.daemon.clock import Clock, SystemClock
from cabinvigil.daemon.commands.base import (
    USUAL_CONFIG,
    add_config,
    add_json,
    add_units,
    check_range,
    number_in,
    units_of,
)
from cabinvigil.daemon.report.live_view import COLUMNS, PastLooks, frame, old_frame
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.languages import partly_spoken
from cabinvigil.daemon.text.terminal import stay
from cabinvigil.daemon.text.units_said import SI, Units

if TYPE_CHECKING:
    from cabinvigil.daemon.settings.config import Settings

EXAMPLE = """examples, in the Lapwing, a trailer, or by ssh:
  cabinvigil show
  cabinvigil show --once
  cabinvigil show --json
"""
EVERY_S = 2.0
FASTEST_S = 1.0
"""The socket takes one ask a second of each caller."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "--once",
        action="store_true",
        help="show it once, then exit; also done wherever no terminal shows it",
    )
    parser.add_argument(
        "--all", action="store_true", help="also show what is calculated from the air"
    )
    add_json(parser)
    add_units(parser)
    parser.add_argument(
        "--every",
        type=number_in("s"),
        default=EVERY_S,
        metavar="S",
        help=f"seconds between updates ({EVERY_S:g})",
    )
    add_socket(parser)


def add_socket(parser: argparse.ArgumentParser) -> None:
    """Add the options that tell where the monitor listens."""
    parser.add_argument(
        "--socket", type=Path, metavar="PATH", help="the socket of the monitor"
    )
    add_config(
        parser, f"the config that names that socket ({USUAL_CONFIG})", USUAL_CONFIG
    )


def socket_of(args: argparse.Namespace) -> Path:
    """Find the monitor's socket: as told, by the config, or the usual one."""
    if args.socket is not None:
        return Path(args.socket)
    from cabinvigil.daemon.settings.config import AskSettings

    settings = _settings(args)
    return Path(AskSettings().socket if settings is None else settings.ask.socket)


def _settings(args: argparse.Namespace) -> "Settings | None":
    """Read the config; None where it cannot be read."""
    from cabinvigil.daemon.settings.config import ConfigError, load

    try:
        return load(args.config)
    except ConfigError:
        return None


def run(
    args: argparse.Namespace,
    out: IO[str],
    _err: IO[str],
    clock: Clock | None = None,
) -> int:
    """Show the air; return the exit code."""
    check_range("--every", args.every, FASTEST_S, 3600.0, " seconds")
    path, clock = socket_of(args), clock or SystemClock()
    settings = _settings(args)
    units = units_of(args, settings and settings.cabin.units)
    partial = partly_spoken(settings and settings.watch.language)
    if args.json:
        print(json_line(ask_status(path)), file=out)
    elif args.once or not out.isatty():  # a pipe would fill, and never end
        looked, now_s = ask_status(path), clock.monotonic()
        shown = frame(looked, PastLooks(), now_s, units, is_whole=args.all)
        print(_noted(shown, partial), file=out)
    else:
        frames = _frames(path, clock, units, is_whole=args.all)
        frames = (_noted(one, partial) for one in frames)
        stay(frames, out, lambda: time.sleep(args.every), COLUMNS)
    return ExitCode.DONE


def _noted(shown: str, partial: str) -> str:
    """Say below a look what of it speaks another language."""
    lines = textwrap.wrap(partial, COLUMNS)
    return "\n".join([shown, *lines])


def _frames(
    path: Path, clock: Clock, units: Units = SI, *, is_whole: bool = False
) -> Iterator[str]:
    """Yield what the monitor says; while it does not, the last of it, marked as old.

    Raises:
        AskError: it said nothing from the first.
    """
    seen, last, at_s = PastLooks(), "", clock.monotonic()
    while True:
        try:
            status = ask_status(path)
        except AskError as error:
            if not last:
                raise
            yield old_frame(last, clock.monotonic() - at_s, str(error))
        else:
            at_s = clock.monotonic()
            last = frame(status, seen, at_s, units, is_whole=is_whole)
            yield last
