"""The number of a file of the log, from its first line: its place among the others."""

import gzip
import json
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cabinvigil.daemon.log.reader import LONGEST_LINE

MOST_FILES = 1_000_000
"""A number beyond it is damage: a thousand years of nights have fewer files."""


def first_line(path: Path) -> Mapping[str, Any]:
    """Read the first line; empty where there is none: torn, damaged, or not ours."""
    opener = gzip.open if path.suffix == ".gz" else open
    try:
        with opener(path, "rb") as file:
            line = json.loads(file.readline(LONGEST_LINE))
    except (EOFError, OSError, RecursionError, ValueError, zlib.error):
        return {}
    return line if isinstance(line, dict) else {}


def first_number(path: Path) -> int:
    """Read the number; 0 where there is none."""
    return number_in(first_line(path))


def number_in(line: Mapping[str, Any]) -> int:
    """Return the number that a first line has; 0 where it has none."""
    number = line.get("file_no")
    return number if type(number) is int and 0 < number < MOST_FILES else 0
