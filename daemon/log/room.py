"""What may be kept of one night: a log that grew beyond any night fills no memory."""

from collections.abc import Mapping
from typing import Any

MOST_BYTES = 32 << 20
"""Of all that is kept of a night, as counted here: a day of a hundred series takes
18 MB, nine hours of the trailer's half a megabyte."""
MOST_SERIES = 100
"""Of a night; the largest config has some thirty."""
VALUE_BYTES = 64
"""Of a number among many, with its place (measured: 60 to 90)."""
OBJECT_BYTES = 80
"""Of a value in a line, and of what refers to it (measured: 64 to 100)."""
RUN_BYTES = 4_000
"""Of a run that holds nothing yet."""


class Room:
    """Counts what is kept, and refuses what is too much."""

    def __init__(self) -> None:
        """Begin empty."""
        self.refused = 0
        """Lines, or values of one, that there was no room for."""
        self._left = MOST_BYTES
        self._series: set[str] = set()

    def has_series(self, key: str) -> bool:
        """Whether a series belongs to the night: one of the first that came."""
        if key in self._series:
            return True
        if len(self._series) >= MOST_SERIES:
            self.refused += 1
            return False
        self._series.add(key)
        return True

    def has_values(self, count: int = 1) -> bool:
        """Make room for so many numbers; return whether there was any."""
        return self._has(count * VALUE_BYTES)

    def has_run(self) -> bool:
        """Make room for one more start of the monitor; return whether there was any."""
        return self._has(RUN_BYTES)

    def has_line(self, fields: Mapping[str, Any]) -> bool:
        """Make room for what a line holds; return whether there was any."""
        return self._has(_size(fields))

    def _has(self, size: int) -> bool:
        if size > self._left:
            self._left = 0  # what came later would stand beside a hole
            self.refused += 1
            return False
        self._left -= size
        return True


def _size(value: Any) -> int:
    """Return the bytes of plain JSON values, about."""
    if isinstance(value, str):
        return OBJECT_BYTES + len(value)
    if isinstance(value, dict):
        return OBJECT_BYTES + sum(_size(key) + _size(value[key]) for key in value)
    if isinstance(value, list):
        return OBJECT_BYTES + sum(map(_size, value))
    return OBJECT_BYTES
