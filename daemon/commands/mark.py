"""Note a moment of the night in its own log: mark "roof vent open 2 cm".

The watch must be running.  What lies between two marks can be compared the next day.
"""

import argparse
from pathlib import Path
from typing import IO

from cabinvigil.daemon.ask.socket import AskError, ask_watch
from cabinvigil.daemon.commands.show import add_socket, socket_of

EXAMPLE = """example, in the trailer Lapwing:
  cabinvigil mark "roof vent open 2 cm"
  cabinvigil mark heater on low
"""
WRONG, MACHINE_FAILED = 2, 3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "text", nargs="+", metavar="TEXT", help="what was done, in a few words"
    )
    add_socket(parser)


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Mark the moment; return the exit code."""
    text = " ".join(args.text)
    try:
        path = socket_of(args)
        answer = ask_watch(Path(path), {"ask": "mark", "text": text})
    except AskError as error:
        print(f"cabinvigil: {error}", file=err)
        return MACHINE_FAILED
    if answer.get("ok") is False:
        print(f"cabinvigil: not marked: {answer.get('text', '')}", file=err)
        return WRONG
    print(f"Marked: {' '.join(text.split())}", file=out)
    return 0
