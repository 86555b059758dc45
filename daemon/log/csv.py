"""A recording as CSV: a header with `time_s` and quantities, read row by row.

An empty cell is where a sensor gave nothing.  The step may be anything from half a
second to a minute, even or not; a longer one is said.
"""

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from cabinvigil.daemon.log.csv_units import (
    other_separator,
    why_no_number,
    why_no_seconds,
    why_rare,
)
from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.drivers.kit.quantity import (
    CONTACT_MEANS,
    QUANTITIES,
    split_channel,
)

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


def _is_contact(column: str) -> bool:
    found = split_channel(column)
    return found is not None and found[0].name == "contact"


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
        self._step: float | None = None

    def _next(self) -> list[str] | None:
        try:
            row = next(self._rows, None)
        except (csv.Error, UnicodeDecodeError) as error:
            raise RecordingError(
                f"{self._path}: after line {self._rows.line_num}: is not CSV text "
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
        between = other_separator(header)
        if between is not None:
            raise RecordingError(
                f"{self._path}: line 1: {between} separate its columns; save it with "
                "commas between columns, and points in numbers"
            )
        if "time_s" not in names:
            raise RecordingError(
                f"{self._path}: line 1: has no column time_s; name the column with "
                "the seconds time_s"
            )
        for name in names:
            if name != "time_s" and split_channel(name) is None:
                raise RecordingError(
                    f"{self._path}: line 1: column {name[:40]!r} is not a known "
                    f"quantity; leave it out, or use one of {', '.join(QUANTITIES)}"
                )
        for name in filter(_is_contact, names):
            found = split_channel(name)
            if found is not None and found[1] not in CONTACT_MEANS:
                raise RecordingError(
                    f"{self._path}: line 1: column {name[:40]!r} does not say what "
                    "the contact reports; name it like contact_smoke: one of "
                    f"{', '.join(CONTACT_MEANS)}"
                )
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise RecordingError(
                f"{self._path}: line 1: column {twice} is there twice; keep one"
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
        """Return the usual step, from the first rows (kept for reading).

        Raises:
            RecordingError: there is no row, one is wrong, or time is not in seconds.
        """
        if self._step is None:
            try:
                self._look_ahead()
                self._check_unit()
            except RecordingError:
                self._file.close()
                raise
        return 1.0 if self._step is None else self._step

    def notes(self) -> tuple[str, ...]:
        """Return what a reader of its replay must know.

        Raises:
            RecordingError: as `step_s`.
        """
        why = why_rare(self.step_s())
        return () if why is None else (f"{self._path}: {why}",)

    def _look_ahead(self) -> None:
        while len(self._waiting) < STEP_ROWS:
            row = self._read()
            if row is None:
                break
            self._waiting.append(row)
        steps = sorted(
            after.time_s - before.time_s for before, after in pairwise(self._waiting)
        )
        self._step = steps[len(steps) // 2] if steps else None

    def _check_unit(self) -> None:
        if not self._waiting:
            raise RecordingError(
                f"{self._path}: has a header and no row below it; give the rows too"
            )
        why = why_no_seconds(self._waiting[0].time_s, self._step)
        if why is not None:
            raise RecordingError(f"{self._path}: time_s {why}")

    def rows(self) -> Iterator[CsvRow]:
        """Yield every row in order.

        Raises:
            RecordingError: there is none, a cell is no number, or time goes back or is
                not in seconds.
        """
        try:
            last_s = -math.inf
            self.step_s()
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
                f"header has {len(self.columns)}; add or remove commas, and write "
                "numbers with a point"
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
                if _is_contact(name) and values[name] not in (0.0, 1.0):
                    raise RecordingError(
                        f"{self._path}: line {self._line}, column {name}: "
                        f"{text[:40]!r} is neither 0 nor 1; a contact is 1 while its "
                        "alarm sounds, its door is open or its float is up"
                    )
        return CsvRow(time_s, values)

    def _number(self, name: str, text: str) -> float:
        try:
            return float(text)
        except ValueError:
            raise self._no_number(name, text) from None

    def _no_number(self, name: str, text: str) -> RecordingError:
        where = f"{self._path}: line {self._line}, column {name}"
        return RecordingError(f"{where}: {why_no_number(text[:40])}")
