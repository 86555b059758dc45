"""What a part that warms up shows: how far it may yet move, and what is no air at all.

Which of its doubts is of its warm-up nobody tells here, so the first minutes of any
are taken for it.
"""

import math

from cabinvigil.daemon.core.history import History


def _doubted_s(history: History, key: str) -> float:
    """Return for how long a series has been doubtful; infinity where it is not."""
    series = history.series[key]
    return history.now - series.doubtful_s if series.doubtful else math.inf


def is_made_up(history: History, key: str) -> bool:
    """Return whether the last value may be one that its part made up."""
    return _doubted_s(history, key) < history.layout.series[key].made_up_s


def settles_by(history: History, key: str) -> float:
    """Return how far a value may yet move, in its unit, though the air stands."""
    spec = history.layout.series[key]
    doubted_s = _doubted_s(history, key)
    if spec.settles <= 0.0 or doubted_s >= spec.warm_up_s:
        return 0.0
    return spec.settles * (1.0 - doubted_s / spec.warm_up_s)
