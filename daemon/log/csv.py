"""A recording as CSV: a header with `time_s` and quantities, read row by row.

An empty cell is where a sensor gave nothing.  The step may be anything from half a
second to a minute, even or not.
"""

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.drivers.kit.quantity import QUANTITIES, split_channel

STEP_ROWS = 200
"""Rows looked at to learn the step."""
LONGEST_LINE = 100_000
"""Characters; a line beyond this is no recording of ours."""


class RecordingError(CabinvigilError, ValueError):
    """The file is no recording; the message says what, where and how to mend it."""


@dataclass(frozen=True, slots=True)
class CsvRow:
    """One row."""

    time_s: float
    values: dict[str, float]
    """By channel; what gave nothing is absent."""


class Recording:
    """An open CSV file, read in one pass."""

    def __init__(self, path: Path) -> None:
        """Read the header.

        Raises:
            RecordingError: it is not there, no text, or has no `time_s` or quantity.
        """
        self._path = path
        csv.field_size_limit(LONGEST_LINE)
        try:
            self._file = path.open(newline="", encoding="utf-8-sig")
        except OSError as error:
            raise RecordingError(
                f"{path}: cannot be read ({error.strerror}); give the path of a CSV "
                "file or of a night's log"
            ) from error
        self._rows = csv.reader(self._file)
        self._line = 0
        try:
            header = self._next()
            self.columns = self._check(header)
        except RecordingError:
            self._file.close()
            raise
        self._waiting: list[CsvRow] = []

    def _next(self) -> list[str] | None:
        try:
            row = next(self._rows, None)
        except (csv.Error, UnicodeDecodeError) as error:
            raise RecordingError(
                f"{self._path}: after line {self._rows.line_num}: is no CSV text "
                f"({error}); save it as UTF-8 with commas"
            ) from error
        self._line = self._rows.line_num
        return row

    def _check(self, header: list[str] | None) -> tuple[str, ...]:
        if not header:
            raise RecordingError(
                f"{self._path}: is empty; it needs a header line like "
                "time_s,o2_pct,co2_ppm"
            )
        names = tuple(name.strip() for name in header)
        if "time_s" not in names:
            raise RecordingError(
                f"{self._path}: line 1: has no column time_s; name the column with "
                "the seconds time_s"
            )
        for name in names:
            if name != "time_s" and split_channel(name) is None:
                raise RecordingError(
                    f"{self._path}: line 1: column {name[:40]!r} is no known quantity; "
                    f"leave it out, or use one of {', '.join(QUANTITIES)}"
                )
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise RecordingError(
                f"{self._path}: line 1: column {twice} stands there twice; keep one"
            )
        if len(names) < 2:
            raise RecordingError(
                f"{self._path}: line 1: has no quantity beside time_s; add a column "
                "such as o2_pct"
            )
        return names

    def close(self) -> None:
        """Close the file; reading all rows does so too."""
        self._file.close()

    @property
    def channels(self) -> tuple[str, ...]:
        """The columns beside the time."""
        return tuple(name for name in self.columns if name != "time_s")

    def step_s(self) -> float:
        """Return the usual step, from the first rows (kept for reading)."""
        try:
            while len(self._waiting) < STEP_ROWS:
                row = self._read()
                if row is None:
                    break
                self._waiting.append(row)
        except RecordingError:
            self._file.close()
            raise
        steps = sorted(
            after.time_s - before.time_s for before, after in pairwise(self._waiting)
        )
        return steps[len(steps) // 2] if steps else 1.0

    def rows(self) -> Iterator[CsvRow]:
        """Yield every row in order.

        Raises:
            RecordingError: a cell is no number, or time goes back.
        """
        try:
            last_s = -math.inf
            while True:
                row = self._waiting.pop(0) if self._waiting else self._read()
                if row is None:
                    return
                if row.time_s < last_s:
                    raise RecordingError(
                        f"{self._path}: time_s goes back from {last_s:g} to "
                        f"{row.time_s:g}; sort the rows by time_s"
                    )
                last_s = row.time_s
                yield row
        finally:
            self._file.close()

    def _read(self) -> CsvRow | None:
        cells = self._next()
        while cells is not None and not any(cell.strip() for cell in cells):
            cells = self._next()
        if cells is None:
            return None
        if len(cells) != len(self.columns):
            raise RecordingError(
                f"{self._path}: line {self._line}: has {len(cells)} cells where the "
                f"header has {len(self.columns)}; add or remove commas"
            )
        time_s = math.nan
        values: dict[str, float] = {}
        for name, cell in zip(self.columns, cells, strict=True):
            text = cell.strip()
            if name == "time_s":
                time_s = self._number(name, text)
                if not math.isfinite(time_s):
                    raise self._no_number(name, text)
            elif text:
                values[name] = self._number(name, text)
        return CsvRow(time_s, values)

    def _number(self, name: str, text: str) -> float:
        try:
            return float(text)
        except ValueError:
            raise self._no_number(name, text) from None

    def _no_number(self, name: str, text: str) -> RecordingError:
        return RecordingError(
            f"{self._path}: line {self._line}, column {name}: {text[:40]!r} is no "
            "number; write a number with a point, or leave the cell empty where the "
            "sensor gave nothing"
        )
