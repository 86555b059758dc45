"""The number of a file of the log, from its first line: its place among the others."""

import gzip
import json
import zlib
from pathlib import Path

from cabinvigil.daemon.log.reader import LONGEST_LINE

MOST_FILES = 1_000_000
"""A number beyond it is damage: a thousand years of nights have fewer files."""


def first_number(path: Path) -> int:
    """Read the number; 0 where there is none: torn at birth, damaged, or not ours."""
    opener = gzip.open if path.suffix == ".gz" else open
    try:
        with opener(path, "rb") as file:
            number = json.loads(file.readline(LONGEST_LINE))["file_no"]
    except (EOFError, OSError, zlib.error):
        return 0
    except (KeyError, RecursionError, TypeError, ValueError):
        return 0
    return number if type(number) is int and 0 < number < MOST_FILES else 0
