"""The moments and dates of a night, in the zone that it is told in."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any

from cabinvigil.daemon.log.folder import night_of
from cabinvigil.daemon.log.night import NightSeries
from cabinvigil.daemon.text.moments import time_or_elapsed
from cabinvigil.daemon.text.time_zones import zone_named

TRAILERS_ZONE = timezone(timedelta(hours=1), "CET")
"""Where every rehearsal is set: our own scenario."""


def zone_of(head: Mapping[str, Any]) -> tzinfo | None:
    """Return the zone of a night's moments by its first line; None: the machine's own.

    A rehearsed night is told in the time that it was played in: its config's, else the
    trailer's; any other in the cabin's, wherever its log is read.
    """
    if head.get("emulated") is True:
        return played_in(_configured(head))
    name = head.get("zone")
    return zone_named(name) if isinstance(name, str) else None


def _configured(head: Mapping[str, Any]) -> str | None:
    config = head.get("config")
    cabin = config.get("cabin") if isinstance(config, Mapping) else None
    name = cabin.get("zone") if isinstance(cabin, Mapping) else None
    return name if isinstance(name, str) else None


def played_in(name: str | None) -> tzinfo:
    """Return the zone of a rehearsal: its config's, else the trailer's."""
    found = None if name is None else zone_named(name)
    return TRAILERS_ZONE if found is None else found


def moment(tape: NightSeries, at_s: float, zone: tzinfo | None = None) -> str:
    """Write a moment of the night in local time; without a clock, from the first line.

    Args:
        tape: the night.
        at_s: since its origin.
        zone: local time; None is the machine's own.
    """
    wall = tape.moment(at_s)
    return time_or_elapsed(None if wall is None else wall.astimezone(zone), at_s)


def day(tape: NightSeries, zone: tzinfo | None = None) -> str:
    """Write the date of a night's evening in full; '' where none is known.

    A night lasts from noon to noon, so 01:00 belongs to the evening before.
    """
    wall = tape.origin
    if wall is None:
        return ""
    night = tape.night or night_of(wall, zone)
    return f"{night.day} {night:%B %Y}"


def zone_name(wall: datetime | None, zone: tzinfo | None = None) -> str:
    """Name the time that moments are told in."""
    return (wall or datetime(2026, 1, 1, tzinfo=UTC)).astimezone(zone).tzname() or "UTC"
