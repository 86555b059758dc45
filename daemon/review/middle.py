"""Whether the middle of an estimate is a figure that somebody may rely on.

Where the evidence is wide, or in two humps (a small flame in shut air, or a large one
in open), the middle is where nobody says that the truth is.  Then the range is told.
"""

from cabinvigil.daemon.review.airflow.balance import Triple

Estimate = tuple[float, float | None, float]
"""The 5, 50 and 95 % points; without the middle where it is no figure to rely on."""

MOST_TIMES = 2.3
"""Times the 5 % point that the 95 % point may be, for the middle to be told."""


def has_middle(triple: Triple) -> bool:
    """Return whether the middle is a figure, and not only somewhere in a range."""
    low, _, high = triple
    return high <= MOST_TIMES * low


def estimate(triple: Triple) -> Estimate:
    """Leave the middle out where it is no figure to rely on."""
    low, middle, high = triple
    return low, middle if has_middle(triple) else None, high


def without_middle(triple: Triple) -> Estimate:
    """Leave the middle out."""
    return triple[0], None, triple[2]
