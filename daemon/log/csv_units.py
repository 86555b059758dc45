"""What a recording's numbers look like where they are no seconds, or no CSV. Pure."""

import re
from collections.abc import Iterable

LONGEST_STEP_S = 60.0
"""Between two rows; beyond it alarms come late, and that is said."""
SHORTEST_STEP_S = 0.04
"""Twenty-five rows a second: no part of ours is as quick, and a minute's step in hours
or days, or two seconds' in minutes, is shorter."""
SHORTEST_BY_DAY = 0.4
"""The same, where the numbers are a spreadsheet's days: ten hours."""
LEAST_SCALED = 500.0
"""Half a second in milliseconds."""
SPREADSHEET_DAYS = (20_000.0, 80_000.0)
"""1954 to 2119, as spreadsheets count days from 1899."""
LATEST_UNIX_S = 1e11
"""Seconds of the epoch in the year 5138: beyond it they are smaller units."""

_SMALLER = (
    (1e3, "milliseconds"),
    (1e6, "microseconds"),
    (1e9, "nanoseconds"),
)
_LARGER = ((60.0, "minutes"), (3600.0, "hours"), (86400.0, "days"))
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_MOMENT = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}:\d{2}")
_COMMA = re.compile(r"[-+]?\d+,\d+")


def why_no_seconds(first: float, step: float | None) -> str | None:
    """Return what a column of time is in, if not in seconds; None where it may be.

    Args:
        first: its first number.
        step: the usual one between two rows; None where there are not two.
    """
    for scale, unit in reversed(_SMALLER):
        if abs(first) > LATEST_UNIX_S * scale / 1e3:
            return f"looks like {unit} since 1970; divide it by {scale:.0f}"
    if step is None or step <= 0.0:
        return None
    low, high = SPREADSHEET_DAYS
    if low <= first <= high and step < SHORTEST_BY_DAY:
        return (
            "looks like a spreadsheet's days; subtract the first one, and multiply by "
            "86400"
        )
    if step < SHORTEST_STEP_S:
        return _larger(step)
    if step >= LEAST_SCALED and not _is_whole_minutes(step):
        scale, unit = next(
            (one for one in _SMALLER if step / one[0] <= LONGEST_STEP_S), _SMALLER[-1]
        )
        return (
            f"has a step of {step:g}, and looks like {unit}; divide it by {scale:.0f}"
        )
    return None


def _larger(step: float) -> str:
    fit = [
        f"{unit} (multiply it by {scale:.0f})"
        for scale, unit in _LARGER
        if 0.5 <= step * scale <= 10 * LONGEST_STEP_S
    ]
    looks = f"looks like {' or '.join(fit)}" if fit else "is in no unit known here"
    return f"has a step of {step:g}, too short for seconds; it {looks}"


def _is_whole_minutes(step: float) -> bool:
    """Whether a step is ten minutes, a quarter or an hour, say, and no thousands."""
    return step % 60.0 == 0.0 and step % 1000.0 != 0.0


def why_rare(step_s: float) -> str | None:
    """Return what a recording with a row now and then cannot show; None: it is fine."""
    if step_s <= LONGEST_STEP_S:
        return None
    return (
        f"a row each {step_s:g} s, where a night is judged each minute or oftener: "
        "alarms come later than on the night, and values between two rows are unknown"
    )


def other_separator(header: Iterable[str]) -> str | None:
    """Name what stands between a header's columns, if not commas; None: commas may."""
    text = ",".join(header)
    counts = {mark: text.count(mark) for mark in _SEPARATORS}
    mark = max(counts, key=lambda one: counts[one])
    return _SEPARATORS[mark] if counts[mark] else None


def why_no_number(text: str) -> str:
    """Return why a cell is no number, and what to write."""
    if _COMMA.fullmatch(text):
        return f"{text!r} has a comma; write {text.replace(',', '.')}, with a point"
    if _MOMENT.search(text):
        return f"{text!r} is a date or a time of day; write seconds from the first row"
    return (
        f"{text!r} is not a number; write a number with a point, or leave the cell "
        "empty where the sensor gave nothing"
    )
