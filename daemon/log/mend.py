"""Writes what can be read of a night's file into a new one, beside it."""

import gzip
import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any, cast

from cabinvigil.daemon.log.format import LOST, OWN_KEYS
from cabinvigil.daemon.log.survey import MOST_KEPT, Survey, begun, lines_of
from cabinvigil.daemon.outputs.disk import give_to_owner_of, new_file
from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.json import dumps
from cabinvigil.daemon.text.plain import all_plain

FOLDER = "mended"
"""Beside the nights, where no other is named: no reader of the nights looks there."""


class MendError(CabinvigilError, ValueError):
    """A fixed file cannot be written; the message says what to do."""


def mend(path: Path, into: Path) -> Survey:
    """Write what can be read of a file into a new one of the same name.

    Args:
        path: the file; it is not touched.
        into: a folder, made where it is not there.

    Returns:
        What was read, and what was lost.  Where nothing could be read, nothing is
        written.

    Raises:
        MendError: the new file is there already, or cannot be written.
    """
    survey = begun(path)
    lines = _written(path, survey)
    first = next(lines, None)
    if first is None:
        return survey
    target = into / path.name
    try:
        into.mkdir(parents=True, exist_ok=True)
        with _fresh(target, packed=path.suffix == ".gz") as sink:
            sink.write(first)
            for line in lines:
                sink.write(line)
    except FileExistsError:  # `into` itself may be a file, too
        raise MendError(
            f"{target}: exists; name another folder with -o, or move it away"
        ) from None
    except OSError as error:
        with suppress(OSError):
            target.unlink()
        raise MendError(
            f"{target}: cannot be written ({error.strerror}); name a folder with room "
            "that you may write in, with -o"
        ) from error
    return survey


@contextmanager
def _fresh(target: Path, *, packed: bool) -> Iterator[IO[bytes]]:
    """Open a file that is not there yet, plain or packed, as the log's own are."""
    with new_file(target) as file:
        give_to_owner_of(target.parent, file.fileno())
        if not packed:
            yield file
            return
        with gzip.GzipFile("", "wb", 6, file, mtime=0) as squeeze:
            yield cast("IO[bytes]", squeeze)


def _written(path: Path, survey: Survey) -> Iterator[bytes]:
    """Yield the lines that can be read, as the monitor writes them.

    Behind each stretch that was lost comes a line of its own, with the moment of the
    line before: what is mended does not pass for a whole night.
    """
    row: dict[str, Any] = {}
    known = 0
    for raw, _ in lines_of(path, survey):
        row = all_plain(json.loads(raw))
        yield _line(row)
        if survey.lost_count > known:
            known = survey.lost_count
            yield _lost(row, survey)
    if row and survey.lost_count > known:  # at its end
        yield _lost(row, survey)


def _line(row: dict[str, Any]) -> bytes:
    return dumps(row).encode() + b"\n"


def _lost(row: dict[str, Any], survey: Survey) -> bytes:
    """Write that lines are missing beside another; null where nobody knows how many."""
    own = {key: row[key] for key in OWN_KEYS if key in row}
    lines = survey.lost[-1].lines if survey.lost_count <= MOST_KEPT else None
    return _line(own | {"event": LOST, "lines": lines})
