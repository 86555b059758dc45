"""What commands that handle parts ask first: a person, and whether the watch runs."""

import errno
import sys
from pathlib import Path
from typing import Any

from cabinvigil.daemon.ask.socket import AskError, ask_watch
from cabinvigil.daemon.settings.config import Settings


class WatchRunsError(RuntimeError):
    """The watch has the parts; the message says how to stop it."""


def typed(prompt: str) -> str:
    """Ask a person for a line; '' where nobody is there to type one."""
    print(prompt, end="", file=sys.stdout, flush=True)  # noqa: T201
    line = sys.stdin.readline()
    return line.strip()


def watch_status(settings: Settings) -> dict[str, Any] | None:
    """Return what the running watch says of itself; None where none runs.

    Raises:
        AskError: one may run, and cannot be asked.
    """
    try:
        return ask_watch(Path(settings.ask.socket), {"ask": "status"})
    except AskError as error:
        if error.errno in (errno.ENOENT, errno.ECONNREFUSED):
            return None
        raise


def no_watch(settings: Settings, word: str) -> None:
    """See that no watch runs: two programs on one wire garble each other.

    Raises:
        WatchRunsError: one runs.
        AskError: one may run, and cannot be asked.
    """
    if watch_status(settings) is not None:
        raise WatchRunsError(
            f"the watch runs and has the parts: `systemctl stop cabinvigil`, then "
            f"`cabinvigil {word}`, then `systemctl start cabinvigil`"
        )
