"""Lengths of time as people say them, in the unit that they would choose; pure."""

MONTH_S = 30.44 * 86400.0
"""The mean of a year's months."""


def minutes(value_min: float) -> str:
    """Write minutes, as hours where they are many: `25 min`, `1.5 h`."""
    if value_min < 90.0:
        return f"{value_min:.0f} min"
    return f"{value_min / 60.0:.1f} h"


def whole_minutes(value_min: float) -> int:
    """Round minutes that are still to come: `in 0 min` would say that it is past."""
    return max(1, round(value_min))


def seconds(value_s: float, below_s: float = 90.0) -> str:
    """Write seconds as such below `below_s`, else as minutes or hours."""
    return f"{value_s:.0f} s" if value_s < below_s else minutes(value_s / 60.0)


def rough(value_s: float) -> str:
    """Write a length of time in the largest unit of which there are two."""
    for unit, size_s in (("days", 86400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if value_s >= 2.0 * size_s:
            return f"{value_s / size_s:.0f} {unit}"
    return f"{value_s:.0f} s"


def months(value_s: float) -> str:
    """Write a part's life: months, and years from two on."""
    count = value_s / MONTH_S
    if count >= 24.0:
        return f"{count / 12.0:.1f} years"
    return "1 month" if round(count) == 1 else f"{count:.0f} months"


def spoken(value_s: float) -> tuple[float, str]:
    """Return how a sentence counts a length of time.

    Seconds below two minutes, minutes below an hour and a half, then hours, to a tenth
    below ten; but a whole minute or hour is said as one.

    Returns:
        The count, and `second`, `minute` or `hour`.
    """
    if value_s < 120.0 and value_s != 60.0:
        return float(max(1, round(value_s))), "second"
    if value_s < 5400.0 and value_s != 3600.0:
        return float(round(value_s / 60.0)), "minute"
    count = value_s / 3600.0
    return float(round(count)) if count >= 10.0 else round(count, 1), "hour"
