"""The root of the errors that end in a sentence for a person, and the exit codes."""

from contextlib import suppress
from enum import IntEnum
from typing import ClassVar


class ExitCode(IntEnum):
    """How a command ends, for whoever called it."""

    DONE = 0
    NOT_WELL = 1
    """It was done, and what was checked is not well."""
    WRONG_CALL = 2
    """The call or a file is wrong."""
    MACHINE_FAILED = 3
    """A bus, the broker, the disk or the monitor did not do its part."""


class CabinvigilError(Exception):
    """What was asked cannot be done; the message is a sentence that says why.

    Mistakes of this program are no such errors: they have no remedy to name.
    """

    exit_code: ClassVar[ExitCode] = ExitCode.WRONG_CALL
    """How a command ends that is stopped by it."""

    def report(self) -> str:
        """Return what such a command prints: the program's name, and the sentence."""
        return f"cabinvigil: {self}"


def bug_text(error: BaseException) -> str:
    """Put a mistake of the program into words; never raises.

    Returns:
        its kind and what it says; the kind alone where even that cannot be said.
    """
    kind = type(error).__name__
    with suppress(Exception):
        return f"{kind}: {error}"
    return kind
