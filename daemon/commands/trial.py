"""Test what a vent is worth: burn the heater with nobody inside, and compare.

All is measured, logged and sounded as usual; but the second phone gets nothing, and
messages say TRIAL.  It ends by the button, its time, an alarm or `trial end`.  The
monitor must be running, the air calm, and nobody inside, no animal either.
"""

import argparse
from collections.abc import Callable
from datetime import timedelta
from typing import IO

from cabinvigil.daemon.ask.socket import ask_watch, typed
from cabinvigil.daemon.commands.base import (
    CallError,
    add_json,
    add_log,
    check_range,
    number_in,
    print_note,
)
from cabinvigil.daemon.commands.morning import folder_of, read
from cabinvigil.daemon.commands.show import add_socket, socket_of
from cabinvigil.daemon.core.trial import LONGEST_S, USUAL_S
from cabinvigil.daemon.log.find import NightError, all_nights
from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.log.trial_span import TrialSpan
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.moments import utc_text

EXAMPLE = """examples, beside the Lapwing, a trailer, heater lit and door shut:
  cabinvigil trial begin "roof vent a third open" --until o2-low
  cabinvigil trial end
  cabinvigil trial list
"""
EMPTY = "nobody"
"""The word that a person types who has looked."""
BEFORE = """Before a trial: look inside. No person and no animal may be in the cabin,
and nobody goes in before it is aired: the air may be deadly within half an hour.
Follow the heater's instructions. Leave certified alarms where they are."""
Ask = Callable[[str], str]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words and options."""
    parser.add_argument("what", choices=("begin", "end", "list"), help="what to do")
    parser.add_argument(
        "text", nargs="*", metavar="TEXT", help="begin: what you test, in a few words"
    )
    parser.add_argument(
        "--hours",
        type=number_in("h"),
        metavar="H",
        help=f"begin: longest time, in hours ({USUAL_S / 3600.0:g})",
    )
    parser.add_argument(
        "--until", metavar="ALARM", help="begin: the alarm that ends it"
    )
    add_log(parser, "list: the folder where the nights are kept")
    add_json(parser)
    add_socket(parser)


def run(
    args: argparse.Namespace, out: IO[str], err: IO[str], *, ask: Ask = typed
) -> int:
    """Begin, end or list; return the exit code."""
    if args.what != "begin":
        _refuse_extra(args)
    if args.what == "list":
        return _list(args, out, err)
    if args.what == "end":
        return _told(args, {"ask": "trial-end"}, out)
    text = " ".join(" ".join(args.text).split())
    if not text:
        raise CallError(
            'trial begin needs a few words about what you test, such as "roof vent '
            'a third open"'
        )
    most_h = LONGEST_S / 3600.0
    check_range("--hours", args.hours, 0.1, most_h, " hours")
    if args.until is not None and not args.until:
        raise CallError("--until is empty: name an alarm, such as o2-low")
    if not args.json:
        print(BEFORE, file=out, flush=True)
    question = f"Is anybody or an animal inside? Type '{EMPTY}' to begin: "
    if ask(question).strip().casefold() != EMPTY:
        raise CallError(f"not begun: type '{EMPTY}' after you have looked inside")
    words: dict[str, object] = {"ask": "trial", "text": text, "alarm": args.until or ""}
    if args.hours is not None:
        words["for_s"] = timedelta(hours=args.hours).total_seconds()
    return _told(args, words, out)


def _refuse_extra(args: argparse.Namespace) -> None:
    if args.text or args.until is not None or args.hours is not None:
        raise CallError(f"trial {args.what} takes no words, no --hours, no --until")


def _told(args: argparse.Namespace, words: dict[str, object], out: IO[str]) -> int:
    """Ask the monitor, and print what it says.

    Raises:
        CallError: it refused.
        AskError: nobody answers.
    """
    answer = ask_watch(socket_of(args), words)
    if answer.get("ok") is False:
        raise CallError(str(answer.get("text", "the monitor refused")))
    print(json_line(answer) if args.json else answer.get("text", ""), file=out)
    return ExitCode.DONE


def _row(tape: NightSeries, one: TrialSpan, number: int) -> dict[str, object]:
    begun = tape.moment(one.from_s)
    return {
        "night": str(tape.night),
        "number": number,
        "begun": None if begun is None else utc_text(begun),
        "hours": round((one.to_s - one.from_s) / 3600.0, 2),
        "text": one.text,
        "why": one.why,
    }


def _list(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Print the trials of the folder's nights."""
    folder = folder_of(args, None)
    if folder is None or not folder.is_dir():
        raise NightError(f"{folder}: there is no such folder; add --log FOLDER")
    rows = []
    for night in all_nights(folder):
        try:
            tape = read(night).tape()
            rows += [
                _row(tape, one, number) for number, one in enumerate(tape.trials, 1)
            ]
        except NightError as error:
            print_note(f"{error}: skipped.", err)
    if args.json:
        print(json_line(rows), file=out)
        return ExitCode.DONE
    trials = "1 trial" if len(rows) == 1 else f"{len(rows) or 'No'} trials"
    print(f"{trials} in these nights.", file=out)
    for row in rows:
        name = f"{row['night']}@trial {row['number']}"
        print(f"{name}  {row['hours']:.1f} h  {row['text']}", file=out)
    return ExitCode.DONE
