"""A range as a plan tells it: least, middle scenario, most; None for never."""

from collections.abc import Sequence

Range = tuple[float | None, float | None, float | None]
"""Low, middle, high; None: never, and counts as the most."""


def spread(values: Sequence[float | None]) -> Range:
    """Give the range of the scenarios' values, of which the middle one comes first."""
    order = sorted(values, key=lambda value: (value is None, value or 0.0))
    return order[0], values[0], order[-1]


def rounded(triple: Range, decimals: int) -> list[float | None]:
    """Give the range as a list for JSON, rounded."""
    return [None if value is None else round(value, decimals) for value in triple]
