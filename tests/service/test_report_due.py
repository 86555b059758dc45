"""When the morning's account is due: the hour, a press before it, no clock at all."""

from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.service.report_due import AGAIN_S, NIGHT_S, MorningDue, hour_of

ZONE = timezone(timedelta(hours=1))
HOUR = 3600.0


def at(clock: str, day: int = 17) -> datetime:
    hour, minute = map(int, clock.split(":"))
    return datetime(2026, 1, day, hour, minute, tzinfo=ZONE)


def due() -> MorningDue:
    return MorningDue(hour_of("07:30"))


def test_the_hour_comes_once_a_morning() -> None:
    """At 07:30, not before, not again, and the next day once more."""
    one = due()
    ticks = [at("21:00", 16) + timedelta(minutes=n) for n in range(48 * 60)]
    told = [tick for tick in ticks if one.look(tick)]
    assert told == [at("07:30", 17), at("07:30", 18)]


def test_a_watch_that_starts_late_makes_up_for_it_for_two_hours() -> None:
    """At 08:00 the phone has no account yet; at 11:00 nobody waits for one."""
    assert due().look(at("08:00"))
    assert not due().look(at("09:30"))
    assert not due().look(at("19:30"))


def test_a_press_before_the_hour_is_someone_getting_up() -> None:
    """At 06:10 yes, and the hour comes all the same: then the night is whole."""
    one = due()
    assert one.pressed(at("06:10"), 9 * HOUR)
    assert not one.pressed(at("06:11"), 9 * HOUR)
    assert one.look(at("07:30"))
    assert not one.pressed(at("07:31"), 10 * HOUR)


@pytest.mark.parametrize("clock", ["21:00", "02:00", "04:29", "12:00"])
def test_a_press_in_the_night_asks_for_nothing(clock: str) -> None:
    """Three hours before the hour at the earliest."""
    assert not due().pressed(at(clock), 9 * HOUR)


def test_an_account_that_failed_is_owed_to_the_next_press() -> None:
    """Not to the next tick: what failed would fail a thousand times."""
    one = due()
    assert one.look(at("07:30"))
    one.failed()
    assert not one.look(at("07:31"))
    assert one.pressed(at("08:15"), 11 * HOUR)
    assert not one.pressed(at("08:16"), 11 * HOUR)


def test_without_a_clock_a_press_after_a_long_run_will_do() -> None:
    """A Pi that never heard the time: five hours, and once a night."""
    one = due()
    assert not one.look(None)
    assert not one.pressed(None, NIGHT_S - 1.0)
    assert one.pressed(None, NIGHT_S)
    assert not one.pressed(None, NIGHT_S + 60.0)
    assert one.pressed(None, NIGHT_S + AGAIN_S)
    one.failed()
    assert one.pressed(None, NIGHT_S + AGAIN_S + 1.0)


def test_summer_time_changes_the_clock_and_not_the_hour() -> None:
    """It is asked in local time: 07:30 by the clock on the wall, 05:30 UTC in July."""
    summer = timezone(timedelta(hours=2))
    assert due().look(datetime(2026, 7, 1, 5, 30, tzinfo=UTC).astimezone(summer))


@given(st.lists(st.integers(0, 72 * 60), max_size=40))
def test_a_clock_that_jumps_never_tells_a_morning_twice_in_a_row(
    minutes: list[int],
) -> None:
    """However often it is set: a date that was told is not told again."""
    one, told = due(), []
    for minute in minutes:
        local = at("12:00", 16) + timedelta(minutes=minute)
        if one.look(local):
            told.append(local.date())
    assert all(a != b for a, b in pairwise(told))
