"""Read a TOML file into plain values; every way in which that fails is one sentence."""

import os
import re
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomli

from cabinvigil.daemon.settings.mistakes import ConfigError, Mistake, one_line

LARGEST_BYTES = 1_000_000
"""A hundred times any real config: more is the wrong file, and must not fill memory."""

_PLACE = re.compile(
    r"^(.*?)\s*\(at (?:line (\d+), column (\d+)|end of document)\)$", re.DOTALL
)


def read_bytes(path: Path, name: str) -> bytes:
    """Read a whole small regular file.

    Raises:
        ConfigError: it is missing, no regular file, not readable, or far too large.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise _refusal(name, "is a folder", "name the .toml file inside it")
        if not stat.S_ISREG(status.st_mode):
            # A pipe or device could block for ever, or never end.
            raise _refusal(name, "is no ordinary file", "name a .toml file")
        if status.st_size > LARGEST_BYTES:
            raise _refusal(
                name,
                f"has {status.st_size} bytes, more than any config",
                f"name a .toml file below {LARGEST_BYTES} bytes",
            )
        return path.read_bytes()[: LARGEST_BYTES + 1]
    except ConfigError:
        raise
    except FileNotFoundError:
        mend = "check the name, or copy the example cabin.toml there"
        raise _refusal(name, "is not there", mend) from None
    except PermissionError:
        mend = "run as its owner, or let this user read it with chmod or chgrp"
        raise _refusal(name, "may not be read by this user", mend) from None
    except (OSError, ValueError) as error:
        reason = os.strerror(getattr(error, "errno", None) or 0)
        if isinstance(error, ValueError) and not isinstance(error, OSError):
            reason = "its name holds a character that no file name may hold"
        raise _refusal(
            name, f"cannot be read ({reason})", "check the name and the disk"
        ) from None


def parse_toml(data: bytes, name: str) -> dict[str, Any]:
    """Parse the bytes of a TOML file.

    Raises:
        ConfigError: not UTF-8, or not TOML; the sentence has line and column.
    """
    try:
        # Editors on some systems put a byte-order mark in front: harmless.
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - data.rfind(b"\n", 0, error.start)
        raise _refusal(
            name,
            f"is not UTF-8 at line {line}, column {column} (byte {error.start})",
            "save it as UTF-8 in your editor",
        ) from None
    try:
        return tomli.loads(text)
    except tomli.TOMLDecodeError as error:
        raise _not_toml(name, str(error), text) from None
    except RecursionError:
        mend = "write it flat, like the example cabin.toml"
        raise _refusal(name, "is nested too deeply", mend) from None
    except ValueError:  # an integer with thousands of digits
        mend = "write numbers as people do"
        raise _refusal(name, "holds a number that is far too long", mend) from None


def read_toml(path: Path, name: str | None = None) -> dict[str, Any]:
    """Read and parse one TOML file.

    Args:
        path: the file.
        name: what to call it in sentences; its path by default.

    Raises:
        ConfigError: it cannot be read or is no TOML.
    """
    name = one_line(str(path)) if name is None else name
    return parse_toml(read_bytes(path, name), name)


def _refusal(name: str, what: str, mend: str) -> ConfigError:
    return ConfigError([Mistake(name, "", what, mend)])


_MENDS: Mapping[str, str] = {
    "Cannot overwrite": "keep one of the two",
    "Cannot declare": "keep one of the two tables",
    "Cannot mutate": "keep one of the two",
    "Expected newline": "end the line there; a decimal has a point, no comma",
    "Invalid value": "write a number, true, false, or a text in double quotes",
    "Expected '=' after a key": "write `key = value`",
    'Expected "\'"': "close the text with its quote on the same line",
    "Unterminated": "close it with the quote that opens it",
    "Illegal character": "close the text with its quote on the same line",
    "Invalid statement": "write `[table]`, `key = value`, or a comment after #",
    "Invalid initial character": "write a key of letters, digits, - and _",
    "Unclosed": "close the bracket",
    "Unescaped": "write a backslash twice",
}


def _not_toml(name: str, message: str, text: str) -> ConfigError:
    found = _PLACE.match(message)
    reason, line, column = found.groups() if found else (message, None, None)
    if line is None:
        lines = text.split("\n")
        line, column = str(len(lines)), str(len(lines[-1]) + 1)
    mend = "mend that line"
    for start, known in _MENDS.items():
        if reason.startswith(start):
            mend = known
    return _refusal(
        name,
        f"is not TOML at line {line}, column {column} ({one_line(reason[:90])})",
        mend,
    )
