"""Read a TOML file into plain values; every way in which that fails is one sentence."""

import os
import re
import stat
from pathlib import Path
from typing import Any

import tomli

from cabinvigil.daemon.settings.accounts import remedy_where_closed, running
from cabinvigil.daemon.settings.errors import ConfigError, Mistake, one_line

LARGEST_BYTES = 1_000_000
"""A hundred times any real config: more is the wrong file, and must not fill memory."""

_PLACE = re.compile(
    r"^(.*?)\s*\(at (?:line (\d+), column (\d+)|end of document)\)$", re.DOTALL
)


def read_bytes(
    path: Path, name: str, missing: str = "check the name", reader: str = ""
) -> bytes:
    """Read a whole small regular file.

    Args:
        path: the file.
        name: what to call it in sentences.
        missing: how to mend that it is not there.
        reader: the user that it is made for, where that is known.

    Raises:
        ConfigError: it is missing, no regular file, not readable, or far too large.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise _refusal(name, "is a folder", "name the .toml file inside it")
        if not stat.S_ISREG(status.st_mode):
            # A pipe or device could block for ever, or never end.
            raise _refusal(name, "is not an ordinary file", "name a .toml file")
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
        raise _refusal(name, "is not there", missing) from None
    except PermissionError:
        what = f"may not be read by the user {running().name}"
        mend = remedy_where_closed(path, reader=reader)
        raise _refusal(name, what, mend) from None
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


def read_toml(
    path: Path, missing: str = "check the name", reader: str = ""
) -> dict[str, Any]:
    """Read and parse one TOML file.

    Args:
        path: the file.
        missing: how to mend that it is not there.
        reader: the user that it is made for, where that is known.

    Raises:
        ConfigError: it cannot be read or is no TOML.
    """
    name = one_line(str(path))
    return parse_toml(read_bytes(path, name, missing, reader), name)


def _refusal(name: str, what: str, mend: str) -> ConfigError:
    return ConfigError([Mistake(name, "", what, mend)])


_DECIMAL = "a decimal has a point, no comma"
_CLOSE = "close the text with its quote on the same line"
_BOTH = "keep one of the two"
_MENDS: tuple[tuple[str, str, str], ...] = (
    # How the parser's reason begins, how the value in that line does, and the mend.
    # The first that fits counts.
    ("Cannot declare", "", "keep one of the two tables"),
    ("Cannot ", "", _BOTH),
    ("Expected", r".*\d,\d", _DECIMAL),
    ("Expected newline", r"\d+[./]\d+[./]\d|\d{4}-", "write a day like 2026-10-01"),
    ("Expected newline", r"0[xX]|[0-9a-fA-F]+[hH]?$", "write a hexadecimal like 0x76"),
    ("Expected newline", r"[\d.]+ *[^\W\d]", "write the number alone, without a unit"),
    ("Expected newline", "", "end the line there"),
    ("Invalid value", "[“”„«»‘’‚]", 'write it in straight quotes, "like this"'),
    ("Invalid value", "(?i:true|false|yes|no|on|off)\\b", "write true or false"),
    ("Invalid value", "", "write a number, true, false, or a text in double quotes"),
    ("Expected '=' after a key", "", "write `key = value`"),
    (
        "Expected ']' at the end of a table",
        "",
        "close the bracket; no name has a space",
    ),
    ('Expected "\'"', "", _CLOSE),
    ("Found invalid character '\\n'", "", _CLOSE),
    ("Unterminated", "", "close it with the quote that opens it"),
    ("Illegal character", "", _CLOSE),
    ("Invalid statement", "", "write `[table]`, `key = value`, or a comment after #"),
    ("Invalid initial character", "", "write a key of letters, digits, - and _"),
    ("Unclosed", "", "close the bracket"),
    ("Unescaped", "", "write a backslash twice"),
)


def _mend_of(reason: str, line: str) -> str:
    """Return how to mend a line that is no TOML."""
    value = line.partition("=")[2].partition("#")[0].strip()
    for start, pattern, mend in _MENDS:
        if reason.startswith(start) and re.match(pattern, value):
            return mend
    return "fix that line"


def _not_toml(name: str, message: str, text: str) -> ConfigError:
    found = _PLACE.match(message)
    reason, line, column = found.groups() if found else (message, None, None)
    lines = text.split("\n")
    if line is None:
        line, column = str(len(lines)), str(len(lines[-1]) + 1)
    return _refusal(
        name,
        f"is not TOML at line {line}, column {column} ({one_line(reason[:90])})",
        _mend_of(reason, lines[int(line) - 1]),
    )
