"""Take the air of this moment for fresh: span oxygen cells, zero CO, recalibrate CO2.

Never in a closed cabin: it asks for a typed yes, and refuses unless the air is fresh
and steady as far as the parts can tell.
"""

import argparse
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import IO, Any

from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from cabinvigil.daemon.ask.socket import AskError, WatchRunsError, no_watch, typed
from cabinvigil.daemon.commands.on_wires import (
    CLOSED,
    DEFAULT,
    FRESH,
    meant,
    run_on_wires,
)
from cabinvigil.daemon.rehearsal.emulated_wires import NotEmulatedError
from cabinvigil.daemon.settings.config import ConfigError, Settings
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.span.fresh_air import YES, is_yes
from cabinvigil.daemon.span.kept import SpansError, SpansFile
from cabinvigil.daemon.span.session import SessionError, SpanSession
from cabinvigil.daemon.span.table import kept_lines, lines
from cabinvigil.daemon.span.ways import WAYS

EXAMPLE = """example, beside the trailer Lapwing:
  cabinvigil span                     every part that can be spanned
  cabinvigil span bunk-cell bunk-co   these two
  cabinvigil span --kept              what is kept, and how long cells will last
  cabinvigil span --emulated          try it, on emulated parts in fresh air
  cabinvigil span --emulated --air closed   and see it refuse

Air the cabin out first: all doors open for a quarter of an hour, the burner off, nobody
breathing on the sensors.  Stop the watch (`systemctl stop cabinvigil`), and start it
again afterwards: it then uses the new spans.
"""
DONE, REFUSED, WRONG, FAILED = 0, 1, 2, 3
LEAST_MINUTES, MOST_MINUTES = 1.0, 60.0
AIRS = {"fresh": FRESH, "closed": CLOSED}
Ask = Callable[[str], str]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "part",
        nargs="*",
        metavar="PART",
        help="a part's name in the config; all that can be spanned if none is named",
    )
    parser.add_argument(
        "--config", type=Path, metavar="FILE", help=f"the config ({DEFAULT})"
    )
    parser.add_argument(
        "--emulated",
        action="store_true",
        help="try it on emulated parts; keeps nothing",
    )
    parser.add_argument(
        "--air",
        choices=tuple(AIRS),
        default="fresh",
        help="with --emulated: fresh air, or that of a closed cabin (fresh)",
    )
    parser.add_argument(
        "--look", action="store_true", help="tell what the parts give, and keep nothing"
    )
    parser.add_argument(
        "--kept",
        action="store_true",
        help="list the spans that are kept, and how long cells will last",
    )
    parser.add_argument(
        "--minutes",
        type=float,
        metavar="M",
        help="how many minutes to look; 3 if not given",
    )
    parser.add_argument(
        "--co2-ppm",
        type=float,
        metavar="PPM",
        help="carbon dioxide outdoors; the config's if not given, else "
        f"{FRESH_CO2_PPM:.0f}",
    )
    parser.add_argument(
        "--state",
        type=Path,
        metavar="DIR",
        help="keep spans there, and not where the config says",
    )
    parser.add_argument(
        "--yes",
        metavar="WORDS",
        help=f"for scripts, in place of the question: the words {YES!r}",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(
    args: argparse.Namespace, out: IO[str], err: IO[str], *, ask: Ask = typed
) -> int:
    """Span the parts; return the exit code.

    Returns:
        0 done; 1 refused, the air or a part is not fit; 2 the call or the config is
        wrong; 3 a wire or the state folder failed, or the watch runs.
    """
    try:
        settings = meant(args.config, is_emulated=args.emulated)
        names = _names(args, settings)
        folder = _folder(args, settings)
        if args.kept:
            return _list(args, settings, folder, out)
        if not args.emulated:
            no_watch(settings, "span")
        if not _is_sure(args, names, out, ask):
            print("cabinvigil: nothing is spanned without that yes", file=err)
            return REFUSED
        return _span(args, settings, names, folder, out, ask)
    except (ConfigError, NotEmulatedError, SpanCallError) as error:
        print(f"cabinvigil: {error}", file=err)
        return WRONG
    except (SessionError, SpansError, WatchRunsError, AskError, OSError) as error:
        print(f"cabinvigil: {error}", file=err)
        return FAILED


class SpanCallError(ValueError):
    """An option is wrong; the message says which, and the mend."""


def _names(args: argparse.Namespace, settings: Settings) -> list[str]:
    """Return the parts to span.

    Raises:
        CallError: one that is not there, or cannot be spanned; or an option is wrong.
    """
    if args.minutes is not None and not LEAST_MINUTES <= args.minutes <= MOST_MINUTES:
        raise SpanCallError(
            f"--minutes must lie between {LEAST_MINUTES:g} and {MOST_MINUTES:g}"
        )
    if args.co2_ppm is not None and not 350.0 <= args.co2_ppm <= 2000.0:
        raise SpanCallError(
            "--co2-ppm must lie between 350 and 2000; outdoors it is "
            f"{FRESH_CO2_PPM:.0f}"
        )
    fit = [name for name, part in settings.parts.items() if part.kind in WAYS]
    for name in args.part:
        if name not in settings.parts:
            raise SpanCallError(
                f"the config has no part {name!r}; it has {', '.join(settings.parts)}"
            )
        if name not in fit:
            kind = settings.parts[name].kind
            raise SpanCallError(
                f"{name} is a {kind}, which has no span; those that have are "
                f"{', '.join(fit) or 'none of this config'}"
            )
    names = list(dict.fromkeys(args.part)) or fit
    if not names:
        raise SpanCallError("the config has no part that can be spanned")
    return names


def _folder(args: argparse.Namespace, settings: Settings) -> Path | None:
    """Return where spans are kept; None where nothing is to be kept."""
    if args.state is not None:
        return Path(args.state)
    if args.emulated:
        return None
    return Path(settings.watch.state_folder)


def _list(
    args: argparse.Namespace, settings: Settings, folder: Path | None, out: IO[str]
) -> int:
    spans = [] if folder is None else SpansFile(folder).load()
    if args.json:
        print(json.dumps({"spans": [_plain(span) for span in spans]}), file=out)
    else:
        for line in kept_lines(spans, settings.parts):
            print(line, file=out)
    return DONE


def _plain(span: Any) -> dict[str, Any]:
    return {
        "part": span.part,
        "kind": span.kind,
        "at": span.at.isoformat(),
        "signal": span.signal,
        "unit": span.unit,
        "options": dict(span.options),
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
        f"What {', '.join(names)} give now is taken for fresh outdoor air, and every "
        "alarm will hang on it.",
        file=out,
    )
    print(f"If it is so, type:  {YES}", file=out, flush=True)
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
    session = SpanSession(
        settings,
        tuple(names),
        folder,
        look_s=None if args.minutes is None else 60.0 * args.minutes,
        only_look=bool(args.look),
        say=(lambda _line: None) if args.json else lambda line: _say(line, out),
        ask=ask,
        is_quick=bool(args.emulated),
    )
    air = AIRS[args.air] if args.emulated else None
    outcome = run_on_wires(session.run, settings, air)
    if args.json:
        print(json.dumps(outcome.as_plain()), file=out)
    else:
        for line in lines(outcome, is_emulated=air is not None):
            print(line, file=out)
    return DONE if outcome.is_good else REFUSED


def _say(line: str, out: IO[str]) -> None:
    print(line, file=out, flush=True)
