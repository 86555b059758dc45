"""Note a moment of the night in its own log: mark "roof vent open 2 cm".

The monitor must be running.  What lies between two marks can be compared the next day.
"""

import argparse
from typing import IO

from cabinvigil.daemon.ask.socket import ask_watch
from cabinvigil.daemon.commands.base import CallError
from cabinvigil.daemon.commands.show import add_socket, socket_of
from cabinvigil.daemon.text.errors import ExitCode

EXAMPLE = """examples, in the Lapwing, a trailer:
  cabinvigil mark "roof vent open 2 cm"
  cabinvigil mark heater on low
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "text", nargs="+", metavar="TEXT", help="what you did, in a few words"
    )
    add_socket(parser)


def run(args: argparse.Namespace, out: IO[str], _err: IO[str]) -> int:
    """Mark the moment; return the exit code."""
    text = " ".join(args.text)
    answer = ask_watch(socket_of(args), {"ask": "mark", "text": text})
    if answer.get("ok") is False:
        raise CallError(f"not marked: {answer.get('text', '')}")
    print(f"Marked: {' '.join(text.split())}", file=out)
    return ExitCode.DONE
