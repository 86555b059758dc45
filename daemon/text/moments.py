"""Moments as people and programs read them; pure: no clock is read here."""

from datetime import UTC, datetime


def time_of_day(wall: datetime, *, to_seconds: bool = False) -> str:
    """Write hours and minutes in the moment's own zone: `02:35`."""
    return f"{wall:%H:%M:%S}" if to_seconds else f"{wall:%H:%M}"


def hour_of_day(from_noon_h: float) -> str:
    """Write hours from noon as a time of day: 14.5 is `02:30`."""
    whole_min = round((from_noon_h + 12.0) * 60.0) % 1440
    return f"{whole_min // 60:02}:{whole_min % 60:02}"


def time_or_elapsed(wall: datetime | None, at_s: float) -> str:
    """Write a moment of a night; without a clock, since its start: `+5:35`.

    Args:
        wall: in the zone to be told in; None where no clock was set.
        at_s: since the night's first line.
    """
    if wall is not None:
        return time_of_day(wall)
    whole_min = round(at_s / 60.0)
    return f"+{whole_min // 60}:{whole_min % 60:02}"


def since_start(at_s: float) -> str:
    """Write the time since a recording's start to the second: `5:35:10`."""
    sign = "-" if at_s < 0 else ""
    whole_s = int(abs(at_s))
    return f"{sign}{whole_s // 3600}:{whole_s // 60 % 60:02}:{whole_s % 60:02}"


def day_and_time(wall: datetime) -> str:
    """Write a moment for people who are to know its day, in UTC."""
    return f"{wall.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def utc_text(wall: datetime) -> str:
    """Write a moment as ISO 8601 in UTC with milliseconds and a Z (RFC 3339)."""
    return wall.astimezone(UTC).isoformat(timespec="milliseconds")[:23] + "Z"


def utc_seconds(wall: datetime | None) -> str | None:
    """Write a moment as ISO 8601 in UTC, to the second; None where it is not known."""
    if wall is None:
        return None
    return wall.astimezone(UTC).isoformat(timespec="seconds")[:19] + "Z"
