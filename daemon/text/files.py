"""Files for people, written whole or not at all."""

import errno
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def put_whole(path: Path, write: Callable[[Path], object]) -> None:
    """Write a file beside its place, then put it there: the old one stays till then.

    What is no plain file (a pipe, a terminal) is written to at once.

    Args:
        path: of the file.
        write: writes what it is given the path of.

    Raises:
        OSError: it cannot be written; what was there is there still.
    """
    if path.exists() and not path.is_file():
        write(path)
        return
    fresh = path.with_name(f".new-{path.name}")  # a picture's ending says its kind
    try:
        write(fresh)
        fresh.replace(path)
    except BaseException:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise


def remedy(error: OSError) -> str:
    """Return what to do where a file cannot be written."""
    if error.errno in FULL:
        return "make room there, or name a file on another disk"
    return "name a file in a folder that exists, and that you may write in"
