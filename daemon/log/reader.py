"""Reads the rolling log, line by line, whatever state the card left it in.

A torn last line is dropped; a line that is none is counted and told; a file that ends
in the middle of its gzip gives what stands before.  No bytes make it raise, but a file
that cannot be opened does.  Memory does not grow with the file.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import IO, Any, TypeVar

from cabinvigil.daemon.log.format import LOG_FORMAT, LOST
from cabinvigil.daemon.log.unpack import Flaw, unpacked
from cabinvigil.daemon.text.plain import all_plain

T = TypeVar("T")

LONGEST_LINE = 1 << 18
"""Bytes; a longer 'line' is damage, and must not fill memory: decoded, `[],[],[]` takes
twenty times as much.  The longest is a start: the trailer's has 27 kB after a night
that sounded, and a cabin with three times the parts has three times as much."""
KEPT_FLAWS = 20
CLOCK_STEP_S = 5.0
"""The wall clock moved by more than this against the monotonic one: a step.  NTP
slews at most 0.5 ms a second (common practice, no source), far below it."""

LONGEST_UP_S = 1e10
"""Three hundred years: a moment beyond it is damage, and would not fit into sums."""
NUMBERS_ONLY = frozenset({"air"})
"""Lines whose texts are names of series alone; nearly all lines are such."""
BATCH_LINES = 256
"""Lines that are decoded together: it halves the time of a night."""
BATCH_BYTES = 1 << 17
"""Fewer lines, where they are as long as this together: twice what air has."""

_CHUNK = 1 << 16


@dataclass(frozen=True, slots=True)
class LogLine:
    """One line that could be read."""

    event: str
    """`start air alarm fault act mark estimate stop`; others are passed on."""
    up_s: float
    """Monotonic seconds since the start of its run."""
    wall: datetime | None
    """The line's moment as the clock then showed it; None where it is unreadable."""
    run: int
    """Counts the starts seen so far: `up_s` begins again with each (0: before any)."""
    fields: dict[str, Any]
    """All other keys."""
    number: int
    """Line number in its file, from 1."""
    clock_step_s: float = 0.0
    """How far the wall clock was moved between this line and the one before."""


@dataclass(slots=True)
class Flaws:
    """What the reader had to leave out."""

    unreadable: int = 0
    """Lines that are no JSON object of ours."""
    torn: int = 0
    """Files whose last lines have no end, and were dropped."""
    damaged: int = 0
    """Stretches of a gzip that could not be unpacked."""
    lost: int = 0
    """Stretches that a file lacks since it was mended: it says so itself."""
    newer_format: int = 0
    """Starts that state a log format newer than this reader."""
    of_newer: str = ""
    """What to do about the first of these; '': there is none."""
    told: list[str] = field(default_factory=list)
    """The first of them, a sentence each."""

    @property
    def is_clean(self) -> bool:
        """Whether every byte was read, a torn last line aside."""
        return not (self.unreadable or self.damaged or self.newer_format)

    def note(self, text: str) -> None:
        """Keep a sentence, up to the bound."""
        if len(self.told) < KEPT_FLAWS:
            self.told.append(text)


class Logbook:
    """Iterates over the lines of one or more files, in the order given."""

    def __init__(self, *paths: Path) -> None:
        self._paths = paths
        self.flaws = Flaws()
        """Complete once the iteration has ended."""
        self.bytes_read = 0
        """Of the files, so far: to say how far long work is."""

    def __iter__(self) -> Iterator[LogLine]:
        """Return each line.

        Raises:
            OSError: a file cannot be opened or read.
        """
        return self._each(_Reader.read)

    def _chunks(self, file: IO[bytes]) -> Iterator[bytes]:
        while chunk := file.read(_CHUNK):
            self.bytes_read += len(chunk)
            yield chunk

    def batches(self) -> Iterator[list[dict[str, Any]]]:
        """Return the lines as they stand, many at once: for whoever reads whole nights.

        Each has a text `event` and a finite `up_s`; all else is as the file has it.

        Raises:
            OSError: a file cannot be opened or read.
        """
        return self._each(_Reader.batches)

    def raw_lines(self) -> Iterator[bytes]:
        """Return each line as the file has it, whether it can be read or not.

        Raises:
            OSError: a file cannot be opened or read.
        """
        return self._each(_Reader.raw_lines)

    def with_bytes(self) -> Iterator[tuple[bytes, LogLine]]:
        """Return each line that can be read, and how the file has it.

        Raises:
            OSError: a file cannot be opened or read.
        """
        return self._each(_Reader.with_bytes)

    def unpacked_bytes(self) -> int:
        """Count what can be unpacked, whether it is a line or not.

        Raises:
            OSError: a file cannot be opened or read.
        """
        return sum(len(one) for one in self._each(_Reader.pieces))

    def _each(
        self, read: Callable[["_Reader", Iterable[bytes], str], Iterator[T]]
    ) -> Iterator[T]:
        """Read file after file; what one line needs goes on from one to the next."""
        self.flaws = Flaws()
        reader = _Reader(self.flaws)
        for path in self._paths:
            with path.open("rb") as file:
                yield from read(reader, self._chunks(file), path.name)


def read_bytes(data: bytes, name: str = "log") -> tuple[list[LogLine], Flaws]:
    """Read a log that is held in memory; for tests and small pieces."""
    flaws = Flaws()
    pieces = (data[at : at + _CHUNK] for at in range(0, len(data), _CHUNK))
    return list(_Reader(flaws).read(pieces, name)), flaws


class _Reader:
    """Keeps what one line needs of those before it."""

    def __init__(self, flaws: Flaws) -> None:
        self._flaws = flaws
        self._run = 0
        self._torn_files: set[str] = set()
        self._before: tuple[float, datetime] | None = None

    def read(self, chunks: Iterable[bytes], name: str) -> Iterator[LogLine]:
        return (line for _, line in self.with_bytes(chunks, name))

    def with_bytes(
        self, chunks: Iterable[bytes], name: str
    ) -> Iterator[tuple[bytes, LogLine]]:
        for number, raw in enumerate(
            self._lines(self._unpacked(chunks, name), name), 1
        ):
            if not raw.strip():
                continue
            line = self._parsed(raw, number, name)
            if line is not None:
                yield raw, line

    def batches(
        self, chunks: Iterable[bytes], name: str
    ) -> Iterator[list[dict[str, Any]]]:
        lines = enumerate(self._lines(self._unpacked(chunks, name), name), 1)
        while batch := _batch(lines):
            rows = _together([raw for _, raw in batch])
            if rows is None:  # one of them is none, or a blank: look at each
                told = (self._row(raw, n, name) for n, raw in batch if raw.strip())
                rows = [row for row in told if row is not None]
            self._flaws.lost += sum(row["event"] == LOST for row in rows)
            if "start" in {row["event"] for row in rows}:
                for number, row in enumerate(rows, batch[0][0]):
                    if row["event"] == "start":
                        self._start(row, number, name)
            yield rows

    def raw_lines(self, chunks: Iterable[bytes], name: str) -> Iterator[bytes]:
        return self._lines(self._unpacked(chunks, name), name)

    def pieces(self, chunks: Iterable[bytes], name: str) -> Iterator[bytes]:
        return self._unpacked(chunks, name)

    def _unpacked(self, chunks: Iterable[bytes], name: str) -> Iterator[bytes]:
        def note(flaw: Flaw) -> None:
            if flaw is Flaw.TORN:
                self._torn(name)
                return
            self._flaws.damaged += 1
            self._flaws.note(f"{name}: a stretch of it is damaged and was left out.")

        return unpacked(chunks, note)

    def _torn(self, name: str) -> None:
        if name not in self._torn_files:
            self._torn_files.add(name)
            self._flaws.torn += 1
            self._flaws.note(f"{name}: its last line is torn; dropped.")

    def _parsed(self, raw: bytes, number: int, name: str) -> LogLine | None:
        data = self._row(raw, number, name)
        if data is None:
            return None
        event, up_s = data.pop("event"), float(data.pop("up_s"))
        self._flaws.lost += event == LOST
        wall = moment(data.pop("t", None))
        if event == "start":
            self._start(data, number, name)
        return LogLine(
            event, up_s, wall, self._run, data, number, self._step(up_s, wall)
        )

    def _row(self, raw: bytes, number: int, name: str) -> dict[str, Any] | None:
        """Decode one line; None, and counted, where it is none of ours."""
        try:
            data = _DECODER.decode(raw.decode("utf-8"))
            if _is_row(data):
                return _plain(data)
        except (ArithmeticError, RecursionError, ValueError):
            pass
        self._flaws.unreadable += 1
        self._flaws.note(f"{name}, line {number}: not a line of this log; left out.")
        return None

    def _start(self, fields: dict[str, Any], number: int, name: str) -> None:
        if fields.get("continues") is not True or self._run == 0:
            self._run += 1
            self._before = None
        form = fields.get("log_format", LOG_FORMAT)
        if not isinstance(form, int) or form > LOG_FORMAT:
            self._flaws.newer_format += 1
            text = (
                f"{name}, line {number}: written in log format {form!s:.20}, and this "
                f"version reads up to {LOG_FORMAT}; bring the software up to date."
            )
            self._flaws.of_newer = self._flaws.of_newer or text
            self._flaws.note(text)

    def _step(self, up_s: float, wall: datetime | None) -> float:
        """Return how far the clock was moved since the line before, in seconds."""
        if wall is None:
            return 0.0
        before, self._before = self._before, (up_s, wall)
        if before is None:
            return 0.0
        moved_s = (wall - before[1]).total_seconds() - (up_s - before[0])
        return moved_s if abs(moved_s) > CLOCK_STEP_S else 0.0

    def _lines(self, chunks: Iterable[bytes], name: str) -> Iterator[bytes]:
        """Cut at newlines, within a bounded buffer."""
        rest, skipping = b"", False
        for chunk in chunks:
            *whole, rest = (rest + chunk).split(b"\n")
            for line in whole:
                # The end of a line too long to hold: its beginning is gone already.
                is_whole = not skipping and len(line) <= LONGEST_LINE
                yield line if is_whole else b"?"
                skipping = False
            if len(rest) > LONGEST_LINE:
                rest, skipping = b"", True
        if rest or skipping:
            self._torn(name)


def _batch(lines: Iterator[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
    """Take lines that are decoded together."""
    batch, size = [], 0
    for number, raw in islice(lines, BATCH_LINES):
        batch.append((number, raw))
        size += len(raw)
        if size >= BATCH_BYTES:
            break
    return batch


def _together(raws: list[bytes]) -> list[dict[str, Any]] | None:
    """Decode lines as one list; None where that does not give a row a line."""
    try:
        rows = _DECODER.decode((b"[" + b",".join(raws) + b"]").decode("utf-8"))
        moments = [row["up_s"] for row in rows]
        words = {type(row["event"]) for row in rows}
    except (ArithmeticError, KeyError, RecursionError, TypeError, ValueError):
        return None
    if len(rows) != len(raws) or words != {str} or set(map(type, rows)) != {dict}:
        return None
    if not set(map(type, moments)) <= {int, float}:
        return None
    if not -LONGEST_UP_S < min(moments) <= max(moments) < LONGEST_UP_S:
        return None
    try:
        return [_plain(row) for row in rows]
    except ValueError:
        return None


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    """Return a row whose texts are lines: what a log holds, others may have written."""
    if row["event"] in NUMBERS_ONLY:
        return row
    plain: dict[str, Any] = all_plain(row)
    return plain


def _is_row(data: Any) -> bool:
    """Return whether it is an object with a text `event` and a moment `up_s`."""
    if type(data) is not dict or type(data.get("event")) is not str:
        return False
    up_s = data.get("up_s")
    if type(up_s) is not float and type(up_s) is not int:
        return False
    return -LONGEST_UP_S < up_s < LONGEST_UP_S


def moment(text: Any) -> datetime | None:
    """Read a line's `t`, as UTC; None where it is none."""
    if not isinstance(text, str):
        return None
    try:
        moment = datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def _refuse(constant: str) -> float:
    raise ValueError(f"{constant} is not a JSON number")


_DECODER = json.JSONDecoder(parse_constant=_refuse)
