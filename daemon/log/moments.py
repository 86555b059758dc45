"""Numbers and moments as the morning's account and its page write them."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any

from cabinvigil.daemon.log.folder import night_of
from cabinvigil.daemon.log.night import Tape

CLOCK = "%H:%M"
TRAILERS_ZONE = timezone(timedelta(hours=1), "CET")
"""Where every rehearsal is set: our own scenario."""


def zone_of(head: Mapping[str, Any]) -> tzinfo | None:
    """Give the zone of a night's moments by its first line; None: the machine's own.

    A rehearsed night is told in the trailer's time, as it was while it was played.
    """
    return TRAILERS_ZONE if head.get("emulated") is True else None


def moment(tape: Tape, at_s: float, zone: tzinfo | None = None) -> str:
    """Write a moment of the night in local time; without a clock, from the first line.

    Args:
        tape: the night.
        at_s: since its origin.
        zone: local time; None is the machine's own.
    """
    wall = tape.moment(at_s)
    if wall is None:
        whole = round(at_s / 60.0)
        return f"+{whole // 60}:{whole % 60:02}"
    return wall.astimezone(zone).strftime(CLOCK)


def day(wall: datetime | None, zone: tzinfo | None = None) -> str:
    """Write the date of a night's evening in full; '' where none is known.

    A night lasts from noon to noon, so 01:00 belongs to the evening before.
    """
    if wall is None:
        return ""
    night = night_of(wall, zone)
    return f"{night.day} {night:%B %Y}"


def zone_name(wall: datetime | None, zone: tzinfo | None = None) -> str:
    """Name the time that moments are told in."""
    return (wall or datetime(2026, 1, 1, tzinfo=UTC)).astimezone(zone).tzname() or "UTC"


def figure(value: float, digits: int = 2) -> str:
    """Write a number with so many digits that matter, and never in powers."""
    if value == 0.0:
        return "0"
    size = abs(value)
    decimals = 0
    while size < 10.0 ** (digits - 1) and decimals < digits + 1:
        size, decimals = size * 10.0, decimals + 1
    text = f"{value:.{decimals}f}"
    return "0" if float(text) == 0.0 else text


def spread(triple: Sequence[float | None], digits: int = 2) -> str:
    """Write a middle with its 5 and 95 % points."""
    low, middle, high = triple
    if low is None or middle is None or high is None:
        return "not known"
    return f"{figure(middle, digits)} ({figure(low, digits)} to {figure(high, digits)})"


def fixed(triple: Sequence[float], decimals: int) -> str:
    """Write a middle with its 5 and 95 % points, all to so many decimals."""
    low, middle, high = (f"{one:z.{decimals}f}" for one in triple)
    return f"{middle} ({low} to {high})"


def valued(quantity: str, value: float) -> str:
    """Write a value of a quantity with its unit."""
    if quantity in ("o2_pct", "cohb_pct"):
        return f"{value:.1f} %"
    if quantity.endswith("_ppm"):
        return f"{value:.0f} ppm"
    if quantity == "temp_c":
        return f"{value:z.0f} °C"
    if quantity == "gas_lel_pct":
        return f"{value:.0f} % LEL"
    if quantity.endswith("_ugm3"):
        return f"{value:.0f} µg/m³"
    if quantity == "rh_pct":
        return f"{value:.0f} %"
    return figure(value)
