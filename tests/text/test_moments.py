"""How moments are written."""

from datetime import UTC, datetime, timedelta, timezone

from cabinvigil.daemon.text.moments import (
    day_and_time,
    hour_of_day,
    since_start,
    time_of_day,
    time_or_elapsed,
    utc_seconds,
    utc_text,
)

PACIFIC = timezone(timedelta(hours=-8))
WALL = datetime(1996, 12, 19, 16, 39, 57, 0, PACIFIC)


def test_a_time_of_day_is_that_of_its_own_zone() -> None:
    assert time_of_day(WALL) == "16:39"
    assert time_of_day(WALL.astimezone(UTC), to_seconds=True) == "00:39:57"


def test_hours_from_noon_are_a_time_of_day() -> None:
    assert [hour_of_day(from_noon_h) for from_noon_h in (0.0, 10.0, 12.0, 18.25)] == [
        "12:00", "22:00", "00:00", "06:15",
    ]  # fmt: skip


def test_without_a_clock_a_moment_counts_from_the_start() -> None:
    assert time_or_elapsed(WALL, 5400.0) == "16:39"
    assert [time_or_elapsed(None, at_s) for at_s in (0.0, 5400.0, 36_030.0)] == [
        "+0:00", "+1:30", "+10:00",
    ]  # fmt: skip


def test_a_recording_counts_to_the_second() -> None:
    written = [since_start(at_s) for at_s in (0.0, 59.9, 5410.0, -61.0)]
    assert written == ["0:00:00", "0:00:59", "1:30:10", "-0:01:01"]


def test_the_moment_is_utc_with_milliseconds_and_z() -> None:
    """RFC 3339; any zone is brought to UTC (check_values rfc3339, from memory)."""
    assert utc_text(WALL) == "1996-12-20T00:39:57.000Z"


def test_an_account_needs_no_milliseconds() -> None:
    assert utc_seconds(WALL) == "1996-12-20T00:39:57Z"
    assert utc_seconds(None) is None
    assert day_and_time(WALL) == "1996-12-20 00:39 UTC"
