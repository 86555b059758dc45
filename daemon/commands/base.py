"""What the commands share: what a module offers, options that many have, wrong calls.

`cli.py` loads it for every call, so it imports next to nothing.
"""

import argparse
import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Protocol

from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.units import sign_of
from cabinvigil.daemon.text.units_read import UnitError, typed
from cabinvigil.daemon.text.units_said import SYSTEMS, Units, units_named

USUAL_CONFIG = Path("/etc/cabinvigil/cabin.toml")
"""Where the service looks for its config, and so does a command that is given none."""


@contextmanager
def loading(*, for_the_night: bool = False) -> Iterator[None]:
    """Import in the block, without the garbage collector.

    What imports make is there to stay; looked through again and again, as it grew, it
    took a tenth of the start.

    Args:
        for_the_night: it is not looked through later either, which would hold up a
            small Pi's alarm.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if for_the_night:
            gc.freeze()
        if was_on:
            gc.enable()


class Command(Protocol):
    """What the module of a command offers."""

    __doc__: str | None
    """Its first paragraph begins the help."""
    EXAMPLE: str
    """Calls that work, for the trailer *Lapwing*; they end the help."""

    def add_arguments(self, parser: argparse.ArgumentParser, /) -> None:
        """Add the command's options and words."""
        ...

    def run(self, args: argparse.Namespace, out: IO[str], err: IO[str], /) -> int:
        """Carry the command out; return its exit code.

        Args:
            args: as parsed.
            out: takes the answer.
            err: takes notes beside it and the progress of long work.

        Raises:
            CabinvigilError: it cannot be done; `cli.py` prints the sentence.
        """
        ...


class CallError(CabinvigilError, ValueError):
    """An option or a word is wrong; the message says which, and how to mend it."""


class MachineError(CabinvigilError):
    """This machine does not take part; the message says what of it."""

    exit_code = ExitCode.MACHINE_FAILED


def make_parser(word: str, command: Command) -> argparse.ArgumentParser:
    """Return the parser of a command.

    Args:
        word: by which it is called.
        command: its module.
    """
    parser = argparse.ArgumentParser(
        prog=f"cabinvigil {word}",
        description=(command.__doc__ or "").strip().split("\n\n")[0],
        epilog=command.EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    return parser


def add_config(
    parser: argparse.ArgumentParser,
    what: str = f"the config ({USUAL_CONFIG})",
    default: Path | None = None,
) -> None:
    """Add `--config`, a path.

    Args:
        parser: takes the option.
        what: its help.
        default: its value where it is not given.
    """
    parser.add_argument(
        "--config", type=Path, default=default, metavar="FILE", help=what
    )


def add_json(parser: argparse.ArgumentParser, *, lines: bool = False) -> None:
    """Add `--json`.

    Args:
        parser: takes the option.
        lines: the command prints an object for each thing, not one for all.
    """
    what = "JSON Lines, for programs" if lines else "print one JSON object"
    parser.add_argument("--json", action="store_true", help=what)


def add_units(parser: argparse.ArgumentParser) -> None:
    """Add `--units`, in which people are told numbers."""
    parser.add_argument(
        "--units",
        choices=tuple(SYSTEMS),
        help="show numbers in these units, whatever the config says; JSON stays SI",
    )


def units_of(args: argparse.Namespace, configured: object = None) -> Units:
    """Return the units of a call: as told, else by the config's word, else SI."""
    return units_named(args.units, units_named(configured))


def number_in(unit: str) -> Callable[[str], float]:
    """Return what reads an option's number, bare or with its unit.

    Args:
        unit: in which it is wanted, and a bare one stands.
    """

    def read(text: str) -> float:
        try:
            found = typed(text, unit)
        except UnitError as error:
            raise argparse.ArgumentTypeError(f"{error}") from None
        if found is not None:
            return found.value
        try:
            return float(text)  # `nan` and `inf`: the option's own bounds refuse them
        except ValueError:
            raise argparse.ArgumentTypeError(
                f"{text[:40]!r} is not a number; write it in {sign_of(unit)}, or with "
                "its unit"
            ) from None

    return read


def add_emulated(
    parser: argparse.ArgumentParser, what: str = "emulated sensors, no hardware"
) -> None:
    """Add `--emulated`."""
    parser.add_argument("--emulated", action="store_true", help=what)


def add_log(
    parser: argparse.ArgumentParser, what: str, metavar: str = "FOLDER"
) -> None:
    """Add `--log`, the path of a folder of nights."""
    parser.add_argument("--log", type=Path, metavar=metavar, help=what)


def print_note(text: str, err: IO[str]) -> None:
    """Print what a person must know beside the answer."""
    print(f"cabinvigil: {text}", file=err)


def check_range(
    option: str, value: float | None, low: float, high: float, more: str = ""
) -> None:
    """Refuse a number beyond its bounds.

    Args:
        option: as it is called, `--minutes`.
        value: what was given; None: nothing.
        low: the least that is taken.
        high: the most.
        more: how the sentence goes on after the bounds.

    Raises:
        CallError: it is less or more, or no number at all (NaN).
    """
    if value is not None and not low <= value <= high:
        raise CallError(f"{option} must lie between {low:g} and {high:g}{more}")
