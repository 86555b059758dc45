"""Check a config: report what it would monitor, or all its mistakes at once.

Or print the packaged limits with their sources.
"""

import argparse
from pathlib import Path
from typing import IO, Any

from cabinvigil.daemon.commands.base import (
    USUAL_CONFIG,
    CallError,
    add_json,
    add_units,
    units_of,
)
from cabinvigil.daemon.commands.config_told import (
    account,
    brief,
    cautions,
    not_watched,
)
from cabinvigil.daemon.commands.limits_table import table, table_object
from cabinvigil.daemon.settings.config import (
    ConfigError,
    Mistake,
    Settings,
    load,
)
from cabinvigil.daemon.settings.devices import DeviceFiles, device_mistakes
from cabinvigil.daemon.settings.registries import Registries, packaged
from cabinvigil.daemon.settings.words import languages
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.units_said import Units

NEW_CONFIG = Path("cabin.toml")
"""Where a first config is written if nobody says."""
EXAMPLE = """examples, with the config of the Lapwing, a trailer:
  cabinvigil config --ask -o cabin.toml
  cabinvigil config --example > cabin.toml
  cabinvigil config cabin.toml --devices
  cabinvigil config --limits
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own words."""
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE",
        default=str(USUAL_CONFIG),
        help=f"the config to check ({USUAL_CONFIG})",
    )
    parser.add_argument(
        "--devices",
        action="store_true",
        help="also check that this machine has its devices, and may open them",
    )
    parser.add_argument(
        "--example",
        action="store_true",
        help="print a whole config with comments, to start from",
    )
    parser.add_argument(
        "--limits",
        action="store_true",
        help="print the packaged limits: each with its document, edition and date",
    )
    parser.add_argument(
        "--toml",
        action="store_true",
        help="with --limits: print the file itself, to start one of your own from",
    )
    parser.add_argument(
        "--words",
        choices=languages(),
        metavar="LANGUAGE",
        help="print the packaged sentences of a language, to start a message file of "
        f"your own from: {', '.join(languages())}",
    )
    parser.add_argument(
        "--ask",
        action="store_true",
        help="make a first config by asking questions; ends with its plan and with "
        "the command of a rehearsal to try",
    )
    parser.add_argument(
        "-o",
        dest="output",
        type=Path,
        metavar="FILE",
        help=f"with --ask: write it there ({NEW_CONFIG})",
    )
    parser.add_argument(
        "--all", action="store_true", help="show every alarm's limits and sources"
    )
    add_json(parser)
    add_units(parser)


def run(
    args: argparse.Namespace,
    out: IO[str],
    err: IO[str],
    *,
    known: Registries | None = None,
    machine: DeviceFiles | None = None,
) -> int:
    """Check a config and say what it would watch.

    Returns:
        0 fine; 2 the file has mistakes; 3 the machine lacks a device.
    """
    if args.example:
        out.write(packaged("cabin.toml").read_text(encoding="utf-8"))
        return ExitCode.DONE
    if args.ask:
        return _ask(args, out)
    if args.output is not None:
        raise CallError("-o names the file that --ask writes: add --ask")
    if args.words is not None:
        out.write(packaged(f"words_{args.words}.toml").read_text(encoding="utf-8"))
        return ExitCode.DONE
    if args.toml and not args.limits:
        raise CallError("--toml is how --limits prints: add --limits")
    if args.limits:
        if args.toml:
            out.write(packaged("limits.toml").read_text(encoding="utf-8"))
        elif args.json:
            out.write(json_line(table_object()) + "\n")
        else:
            out.writelines(f"{line}\n" for line in table(units_of(args)))
        return ExitCode.DONE
    known = known or Registries()
    try:
        settings = load(args.file, known=known)
    except ConfigError as error:
        units = units_of(args, error.units.word)
        _tell(error.mistakes, args.json, args.file, out, err, units)
        return ExitCode.WRONG_CALL
    missing = (
        device_mistakes(settings, args.file, machine, known) if args.devices else []
    )
    units = units_of(args, settings.cabin.units)
    if args.json:
        told = _object(args.file, settings, missing, known, units)
        out.write(json_line(told) + "\n")
    else:
        lines = (
            account(args.file, settings, known, units)
            if args.all
            else brief(args.file, settings, known, units)
        )
        out.writelines(f"{line}\n" for line in lines)
        err.writelines(f"{mistake.said(units)}\n" for mistake in missing)
    return ExitCode.MACHINE_FAILED if missing else ExitCode.DONE


def _ask(args: argparse.Namespace, out: IO[str]) -> int:
    """Make a first config.

    Raises:
        CallError: another option is no matter of questions.
    """
    others = (args.json, args.devices, args.example, args.limits, args.words)
    if any(others):
        raise CallError("--ask asks a person: use only -o and --units with it")
    # Only here: what it plans and scans with costs more than a whole check.
    from cabinvigil.daemon.commands.config_ask import make_config

    make_config(args.output or NEW_CONFIG, out, units=units_of(args))
    return ExitCode.DONE


def _tell(
    mistakes: tuple[Mistake, ...],
    as_json: bool,
    file: str,
    out: IO[str],
    err: IO[str],
    units: Units,
) -> None:
    if as_json:
        told = {
            "file": file,
            "fine": False,
            "mistakes": [_mistake(one) for one in mistakes],
        }
        out.write(json_line(told) + "\n")
        return
    count = "1 mistake" if len(mistakes) == 1 else f"{len(mistakes)} mistakes"
    err.write(f"{count}; the monitor will not start with this file.\n")
    err.writelines(f"{mistake.said(units)}\n" for mistake in mistakes)


def _mistake(mistake: Mistake) -> dict[str, str]:
    return {
        "file": mistake.file,
        "key": mistake.key,
        "what": mistake.what,
        "mend": mistake.mend,
        "text": str(mistake),
    }


def _object(
    file: str,
    settings: Settings,
    missing: list[Mistake],
    known: Registries,
    units: Units,
) -> dict[str, Any]:
    return {
        "file": file,
        "fine": not missing,
        "digest": settings.digest,
        "mistakes": [_mistake(one) for one in missing],
        "laxer": list(settings.laxer),
        "mind": list(cautions(settings, known, units)),
        "not_watched": not_watched(settings, known),
        "settings": settings.as_plain(),
    }
