"""The time zone that a cabin's hours and nights are told in.

A Pi comes from its maker on UTC.  There, a night in California would end at four in
the morning, so the zone may stand in the config, and what was used stands in the log.
"""

import os
from datetime import tzinfo
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

LOCALTIME = Path("/etc/localtime")
"""Linked to the system's zone (localtime(5))."""
_ZONES = "/zoneinfo/"
UTC_NAMES = frozenset(
    f"{head}{name}"
    for head in ("", "Etc/")
    for name in ("UTC", "UCT", "GMT", "GMT0", "Greenwich", "Universal", "Zulu")
)
"""UTC by any of its names (tz database, `etcetera` and `backward`).  Where people
live by it all the year, in Iceland say, the zone has a name of its own."""


@cache
def zone_named(name: str) -> tzinfo | None:
    """Return a zone by its name in the tz database; None where there is none."""
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):  # no such file, no such name, no tzdata
        return None


def system_zone(localtime: Path = LOCALTIME) -> str:
    """Name the machine's zone as the tz database does; '' where it cannot be told."""
    told = os.environ.get("TZ", "").removeprefix(":")
    if not told:
        try:
            link = os.readlink(localtime)
        except OSError:
            return "UTC" if not localtime.exists() else ""
        told = link.partition(_ZONES)[2]
    return told if told and zone_named(told) is not None else ""


def why_minded(zone: str | None) -> str:
    """Return what is unsure about where the nights of a cabin turn; '' is nothing.

    Args:
        zone: by its config; None is the machine's own.
    """
    if zone is not None or system_zone() not in UTC_NAMES | {""}:
        return ""
    told = "is on UTC" if system_zone() else "does not say its time zone"
    return (
        f"this machine {told}: a night would end at noon of UTC, which may be while "
        'you sleep; write zone = "Europe/Oslo", "America/Denver" or yours into [cabin]'
    )


def zone_or_system(name: str | None) -> tzinfo | None:
    """Return a config's zone; None is the machine's own."""
    return None if name is None else zone_named(name)
