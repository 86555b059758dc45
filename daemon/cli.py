"""Words in, words out: which command was meant, and its exit code.

Exit codes: 0 done, 1 the thing checked is not well, 2 the call or a file is wrong,
3 the machine failed (bus, broker, disk).
"""

import argparse
import errno
import importlib
import io
import os
import re
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, cast

from cabinvigil.daemon.commands.base import CallError, Command, loading, make_parser
from cabinvigil.daemon.settings.accounts import remedy_where_closed, running
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.plain import is_shown

COMMANDS = {
    # word: (module, what it does); only the module of the word is imported.
    "plan": ("commands.plan", "plan a night: vents, gas, condensation, warmth"),
    "config": ("commands.config", "check a config file, all its mistakes at once"),
    "parts": ("commands.parts", "list the known sensors, or --scan for connected ones"),
    "span": ("commands.span", "calibrate in fresh air: span O2, zero CO, reset CO2"),
    "precheck": ("commands.precheck", "check before bed: one screen, one verdict"),
    "run": ("commands.run", "monitor the cabin's air with the real sensors"),
    "phone": ("commands.phone", "send messages, report silence, serve the live page"),
    "rehearse": ("commands.rehearse", "play a night on emulated sensors, no hardware"),
    "show": ("commands.show", "show the air as it is now, 40 columns wide"),
    "mark": ("commands.mark", "note a moment of the night in its log"),
    "trial": ("commands.trial", "test what a vent is worth, with nobody inside"),
    "morning": ("commands.morning", "report on a night, and what to change"),
    "compare": ("commands.compare", "compare nights: safest, driest, least gas"),
    "replay": ("commands.replay", "run a recorded night through the rules"),
    "log": ("commands.log", "check or repair the log's files, or print them as CSV"),
}
NOTE = (
    "An extra layer only. It does not replace certified CO, gas and smoke alarms, "
    "the heater's instructions, local codes or a licensed fitter."
)


NOT_TAKEN = (errno.ENOSPC, errno.EIO, errno.EDQUOT, errno.EFBIG)
"""How a disk refuses what is printed."""


class _Plain(io.TextIOBase):
    """Errors name files, and logs hold what others wrote: nothing may steer a terminal.

    What steers it on purpose, the view that stays in place, asks for `terminal`.
    """

    def __init__(self, real: IO[str]) -> None:
        self.terminal = real

    def write(self, text: str) -> int:
        if not text.isprintable():
            text = "".join(one if one == "\n" or is_shown(one) else "?" for one in text)
        return self.terminal.write(text)

    def flush(self) -> None:
        self.terminal.flush()

    def isatty(self) -> bool:
        return self.terminal.isatty()

    def close(self) -> None:
        """Leave the real one open, and alone: it may be gone once this is collected."""


def _overview() -> str:
    lines = ["usage: cabinvigil COMMAND [OPTION]...", "", "commands:"]
    lines += [f"  {word:<10} {what}" for word, (_, what) in COMMANDS.items()]
    lines += ["", "Run cabinvigil COMMAND --help for the options of each.", "", NOTE]
    return "\n".join(lines)


def _module(word: str) -> Command:
    with loading():
        module = importlib.import_module(f"cabinvigil.daemon.{COMMANDS[word][0]}")
    return cast("Command", module)


def parser_of(word: str) -> argparse.ArgumentParser:
    """Return the parser of one command."""
    return make_parser(word, _module(word))


def exit_code_of(command: Callable[[], int], err: IO[str]) -> int:
    """Carry a command out; return its exit code.

    The one place where an error becomes what a person reads.

    Args:
        command: returns the exit code.
        err: takes the sentence where the command ends in one.
    """
    try:
        return int(command())
    except CabinvigilError as error:
        print(error.report(), file=err)
        return int(error.exit_code)


def _carry_out(words: Sequence[str], out: IO[str], err: IO[str]) -> int:
    word, *rest = words
    if word not in COMMANDS:
        raise CallError(
            f"no such command: {word[:40]!r}; use one of {', '.join(COMMANDS)}"
        )
    rest = _with_negatives(rest)
    args = parser_of(word).parse_intermixed_args(rest)  # `log mend -o DIR nights/`
    return _module(word).run(args, out, err)


def _with_negatives(words: Sequence[str]) -> list[str]:
    """Join `--outside-c -5F` into one word, which argparse takes for two options."""
    joined: list[str] = []
    for word in words:
        before = joined[-1] if joined else ""
        is_option = before.startswith("--") and len(before) > 2 and "=" not in before
        if is_option and _NEGATIVE.match(word):
            joined[-1] = f"{before}={word}"
        else:
            joined.append(word)
    return joined


_NEGATIVE = re.compile(r"-\.?\d")


def main(argv: Sequence[str] | None = None) -> int:
    """Carry out one command line; return the exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or words[0] in ("-h", "--help", "help"):
        print(_overview(), file=sys.stdout if words else sys.stderr)
        return int(ExitCode.DONE if words else ExitCode.WRONG_CALL)
    if words[0] == "--version":
        import importlib.metadata  # 35 ms that no other call needs

        print(f"cabinvigil {importlib.metadata.version('cabinvigil')}")
        return 0
    out, err = (cast("IO[str]", _Plain(one)) for one in (sys.stdout, sys.stderr))
    try:
        code = exit_code_of(lambda: _carry_out(words, out, err), err)
        sys.stdout.flush()
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        return _unread()
    except PermissionError as error:
        if error.filename is None:
            raise
        path = Path(os.fsdecode(error.filename))
        print(
            f"cabinvigil: {path} may not be opened by the user {running().name}; "
            f"{remedy_where_closed(path)}",
            file=err,
        )
        return int(ExitCode.MACHINE_FAILED)
    except OSError as error:  # of the output: files tell their own names
        if error.filename is not None or error.errno not in NOT_TAKEN:
            raise
        print(
            f"cabinvigil: the output cannot be written ({error.strerror}): free the "
            "disk that takes it, or name another",
            file=err,
        )
        _unread()
        return int(ExitCode.MACHINE_FAILED)
    except ExceptionGroup as several:  # of tasks, as a rehearsal's
        if several.split(BrokenPipeError)[1] is not None:
            raise
        return _unread()
    return code


def _unread() -> int:
    """End in peace: the reader of our output has gone (`| head`)."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0
