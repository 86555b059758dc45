"""Watch the cabin's air with the real parts, until stopped; systemd runs this.

Faults of parts, broker or disk are told and do not end the watch.
"""

import argparse
import asyncio
import os
from typing import IO

from cabinvigil.daemon.commands.base import USUAL_CONFIG, add_config, print_note
from cabinvigil.daemon.service.app import run_app
from cabinvigil.daemon.service.host_services import HostServices
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.span.kept import maker
from cabinvigil.daemon.text.errors import ExitCode

EXAMPLE = f"""example, as the trailer Lapwing's unit starts it:
  cabinvigil run --config {USUAL_CONFIG}

SIGHUP reads the config anew; a bad one is refused aloud and the old one kept.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    add_config(parser, default=USUAL_CONFIG)


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Watch; return the exit code."""
    settings = load(args.config)
    for text in settings.laxer:
        print_note(f"laxer than published: {text}", err)
    print(
        f"cabinvigil watches {settings.cabin.name}. An added layer only: never in "
        "place of certified alarms.",
        file=out,
        flush=True,
    )
    machine = HostServices(maker, environ=dict(os.environ), pid=os.getpid())
    asyncio.run(run_app(settings, args.config, machine))
    return ExitCode.DONE
