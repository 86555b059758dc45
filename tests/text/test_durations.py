"""How lengths of time are written."""

import pytest

from cabinvigil.daemon.text.durations import (
    MONTH_S,
    minutes,
    months,
    rough,
    seconds,
    spoken,
)

DAY_S = 86400.0


def test_many_minutes_are_hours() -> None:
    written = [minutes(value) for value in (0.4, 25.0, 89.0, 90.0, 125.0)]
    assert written == ["0 min", "25 min", "89 min", "1.5 h", "2.1 h"]


def test_many_seconds_are_minutes_or_hours() -> None:
    written = [seconds(value) for value in (45.0, 89.0, 90.0, 5000.0, 7200.0)]
    assert written == ["45 s", "89 s", "2 min", "83 min", "2.0 h"]
    assert seconds(110.0, below_s=120.0) == "110 s"


def test_a_rough_length_has_the_largest_unit_of_which_there_are_two() -> None:
    written = [rough(value) for value in (119.0, 120.0, 7000.0, 7200.0, 3.0 * DAY_S)]
    assert written == ["119 s", "2 minutes", "117 minutes", "2 hours", "3 days"]


def test_a_life_is_months_and_then_years() -> None:
    written = [months(count * MONTH_S) for count in (0.2, 1.2, 5.0, 24.0)]
    assert written == ["0 months", "1 month", "5 months", "2.0 years"]


@pytest.mark.parametrize(
    ("value_s", "count", "unit"),
    [
        (0.2, 1.0, "second"),
        (60.0, 1.0, "minute"),
        (90.0, 90.0, "second"),
        (120.0, 2.0, "minute"),
        (3600.0, 1.0, "hour"),
        (5399.0, 90.0, "minute"),
        (5400.0, 1.5, "hour"),
        (36_100.0, 10.0, "hour"),
    ],
)
def test_a_sentence_counts_in_the_unit_that_people_would_choose(
    value_s: float, count: float, unit: str
) -> None:
    assert spoken(value_s) == (count, unit)
