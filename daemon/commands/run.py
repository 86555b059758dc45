"""Watch the cabin's air with the real parts, until stopped; systemd runs this.

Faults of parts, broker or disk are told and do not end the watch.
"""

import argparse
import asyncio
import os
from pathlib import Path
from typing import IO

from cabinvigil.daemon.service.app import run_app
from cabinvigil.daemon.service.host_services import HostServices
from cabinvigil.daemon.settings.config import ConfigError, load

EXAMPLE = """example, as the trailer Lapwing's unit starts it:
  cabinvigil run --config /etc/cabinvigil/cabin.toml

SIGHUP reads the config anew; a bad one is refused aloud and the old one kept.
"""
DEFAULT = Path("/etc/cabinvigil/cabin.toml")
WRONG = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "--config",
        type=Path,
        default=DEFAULT,
        metavar="FILE",
        help=f"the config ({DEFAULT})",
    )


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Watch; return the exit code."""
    try:
        settings = load(args.config)
    except ConfigError as error:
        print(f"cabinvigil: {error}", file=err)
        return WRONG
    for text in settings.laxer:
        print(f"cabinvigil: laxer than published: {text}", file=err)
    print(
        f"cabinvigil watches {settings.cabin.name}. An added layer only: never in "
        "place of certified alarms.",
        file=out,
        flush=True,
    )
    machine = HostServices(environ=dict(os.environ), pid=os.getpid())
    asyncio.run(run_app(settings, args.config, machine))
    return 0
