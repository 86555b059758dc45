"""Whether the battery lasts the night: by its own fall, or by what it holds. Pure."""

from collections.abc import Mapping
from itertools import pairwise

from cabinvigil.daemon.precheck.findings import Finding, WatchStatus

LEAD_ACID = (
    (10.5, 0.0),
    (11.31, 0.1),
    (11.58, 0.2),
    (11.75, 0.3),
    (11.9, 0.4),
    (12.06, 0.5),
    (12.2, 0.6),
    (12.32, 0.7),
    (12.42, 0.8),
    (12.5, 0.9),
    (12.7, 1.0),
)
"""Volts of a 12 V lead battery and the share of its charge (from memory, at rest; under
a small load it reads a little less, which is the safe side)."""
TWO_BATTERIES_V = 18.0
"""Above this it is a 24 V system: two in a row."""
LEAST_DRAW_A = 0.01


def charge(volts: float) -> float:
    """Return the share of charge that a lead battery's voltage stands for."""
    volts = volts / 2.0 if volts > TWO_BATTERIES_V else volts
    if volts <= LEAD_ACID[0][0]:
        return 0.0
    for (low_v, low), (high_v, high) in pairwise(LEAD_ACID):
        if volts <= high_v:
            return low + (high - low) * (volts - low_v) / (high_v - low_v)
    return 1.0


def supply(
    status: WatchStatus, night_hours: float, battery_ah: float | None, empty_v: float
) -> Finding:
    """Judge whether the supply lasts.

    Args:
        status: what the watch says, with the hours left where it can tell them.
        night_hours: how long it must last.
        battery_ah: what the battery holds when full, where a person says so.
        empty_v: where the watch goes dark.
    """
    volts = _reading(status.readings, "supply_v")
    if "supply-low" in status.alarms:
        return Finding("supply", "bad", status.alarms["supply-low"][1])
    if volts is None:
        return Finding(
            "supply", "mind", "nothing measures it: how long it lasts is open"
        )
    amperes = _reading(status.readings, "supply_a")
    draw_a = None if amperes is None else -amperes
    if draw_a is not None and draw_a <= -LEAST_DRAW_A:
        text = f"{volts:.1f} V, charging with {-draw_a:.1f} A"
        return Finding("supply", "good", text)
    hours, how = status.supply_hours, "by its fall so far"
    if hours is None and battery_ah is not None and draw_a is not None:
        left_ah = battery_ah * max(0.0, charge(volts) - charge(empty_v))
        hours, how = left_ah / max(draw_a, LEAST_DRAW_A), "if it is a lead battery"
    if hours is None:
        text = f"{volts:.1f} V; hours left not known, name --battery-ah"
        return Finding("supply", "mind", text)
    shown = "over 48" if hours > 48.0 else f"about {hours:.0f}"
    text = f"{volts:.1f} V, {shown} h left {how} (the night is {night_hours:g})"
    if hours < night_hours:
        return Finding("supply", "bad", f"{text}: charge it")
    return Finding("supply", "good", text)


def _reading(readings: Mapping[str, float], channel: str) -> float | None:
    """Return a channel's value, whichever part gives it; the lowest of several."""
    found = [value for key, value in readings.items() if key.split("__")[0] == channel]
    return min(found) if found else None
