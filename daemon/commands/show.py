"""Show the cabin's air as it is now: also over ssh on a phone, 40 columns.

Asks the running watch over its socket; Ctrl-C ends it.
"""

import argparse
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
    parser.add_argument("--once", action="store_true", help="show it once, then exit")
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
    """Add the options that tell where the watch listens."""
    parser.add_argument(
        "--socket", type=Path, metavar="PATH", help="the socket of the monitor"
    )
    add_config(
        parser, f"the config that names that socket ({USUAL_CONFIG})", USUAL_CONFIG
    )


def socket_of(args: argparse.Namespace) -> Path:
    """Find the watch's socket: as told, by the config, or the usual one."""
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
    units = _units(args)
    if args.json:
        print(json_line(ask_status(path)), file=out)
    elif args.once:
        print(frame(ask_status(path), PastLooks(), clock.monotonic(), units), file=out)
    else:
        stay(_frames(path, clock, units), out, lambda: time.sleep(args.every), COLUMNS)
    return ExitCode.DONE


def _units(args: argparse.Namespace) -> Units:
    """Return the units of a call: as told, or as its config has them."""
    settings = None if args.units else _settings(args)
    return units_of(args, settings and settings.cabin.units)


def _frames(path: Path, clock: Clock, units: Units = SI) -> Iterator[str]:
    """Yield what the watch says; while it does not, the last of it, marked as old.

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
            last = frame(status, seen, at_s, units)
            yield last
