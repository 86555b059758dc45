"""Monitor the cabin's air with the real sensors, until stopped; systemd runs this.

Faults of sensors, broker or disk are reported and do not end the monitor.
"""

import argparse
import os
from contextlib import suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.commands.base import (
    USUAL_CONFIG,
    add_config,
    loading,
    print_note,
)
from cabinvigil.daemon.outputs.signal.gpio import open_gpio
from cabinvigil.daemon.service.sounder import Sounder, start_early
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import units_named

if TYPE_CHECKING:
    from cabinvigil.daemon.service.host_services import HostServices

EXAMPLE = f"""example, as the unit of the Lapwing, a trailer, starts it:
  cabinvigil run --config {USUAL_CONFIG}

SIGHUP reads the config again; a bad one is refused with a fault, and the old one stays.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    add_config(parser, default=USUAL_CONFIG)


def host_services() -> "HostServices":
    """Return this machine."""
    from cabinvigil.daemon.service.host_services import HostServices
    from cabinvigil.daemon.span.kept import maker

    return HostServices(
        maker,
        open_line=open_gpio,
        environ=dict(os.environ),
        pid=os.getpid(),
        exit_now=os._exit,
    )


def run(args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Watch; return the exit code."""
    # Before all else: what is loaded below takes a slow machine many seconds.
    sounder = start_early(args.config, SystemClock(), open_gpio)
    try:
        return _watch(args, sounder, out, err)
    except BaseException:
        if sounder is not None:
            sounder.end()
        raise


def _watch(
    args: argparse.Namespace, sounder: Sounder | None, out: IO[str], err: IO[str]
) -> int:
    with loading(for_the_night=True):
        import asyncio

        from cabinvigil.daemon.ask.probe import is_heard
        from cabinvigil.daemon.ask.socket import another_watch
        from cabinvigil.daemon.service.app import App
        from cabinvigil.daemon.settings.config import load

        machine = host_services()
    settings = load(args.config)
    units = units_named(settings.cabin.units)
    for text in (retold(one, units) for one in settings.laxer):
        print_note(f"less strict than published: {text}", err)
    socket = Path(settings.ask.socket)
    with suppress(OSError):  # what nobody can tell is told once the socket is wanted
        if is_heard(socket):
            print_note(another_watch(socket), err)
    print(
        f"cabinvigil monitors {settings.cabin.name}. An extra layer only: it does not "
        "replace certified alarms.",
        file=out,
        flush=True,
    )

    async def live() -> None:  # the monitor is made on its loop
        await App(settings, args.config, machine, sounder).run()

    asyncio.run(live())
    return ExitCode.DONE
