"""Whether the battery lasts the night: by its own fall, or by what it holds. Pure."""

from collections.abc import Mapping
from itertools import pairwise

from cabinvigil.daemon.precheck.findings import (
    Finding,
    WatchStatus,
    Word,
    channel_of_key,
)

LEAD_ACID = ((11.8, 0.0), (12.0, 0.25), (12.2, 0.5), (12.4, 0.75), (12.7, 1.0))
"""Volts of a 12 V lead battery at rest and the share of its charge.  Four public tables
that were read agree with it within 0.1 V at each share; under a small load it reads a
little less, which is the safe side.  The one table: hardware.md's is drawn from it."""
KEPT_SHARE = 0.5
"""What stays in a lead battery that is to last (common practice, no source)."""
WARM_C, COLD_C, COLD_SHARE = 25.0, -10.0, 0.6
"""A lead battery gives its charge when warm and this share in the cold; between and
below on one line.  A maker's note asks for 1.65 times the capacity at -10 °C, and two
worksheets for 1.30 at 4, 1.40 at -1 and 1.59 at -7: 0.61, 0.77, 0.71 and 0.63."""
LEAST_COLD_SHARE = 0.3
"""However cold it is (our choice: at -36 °C by that line; nearly flat ones freeze)."""
LITHIUM_SHARE = 0.8
"""Of a full LiFePO4 battery, to be taken out and for its age (unverified)."""
TWO_BATTERIES_V, FOUR_BATTERIES_V = 18.0, 36.0
"""Above the first it is a 24 V system, two in a row; above the second one of 48 V."""
HALF_PCT = 50.0
"""Of a gauge's charge: below it a night is to be thought of (our choice)."""
LEAST_DRAW_A = 0.01


def charge(volts: float) -> float:
    """Return the share of charge that a lead battery's voltage stands for."""
    if volts > FOUR_BATTERIES_V:
        volts /= 4.0
    elif volts > TWO_BATTERIES_V:
        volts /= 2.0
    if volts <= LEAD_ACID[0][0]:
        return 0.0
    for (low_v, low), (high_v, high) in pairwise(LEAD_ACID):
        if volts <= high_v:
            return low + (high - low) * (volts - low_v) / (high_v - low_v)
    return 1.0


def cold_share(temp_c: float | None) -> float:
    """Return the share of its charge that a lead battery gives at this temperature.

    None, which nothing tells, is taken for `COLD_C`.
    """
    if temp_c is None:
        return COLD_SHARE
    lost = (1.0 - COLD_SHARE) * (WARM_C - temp_c) / (WARM_C - COLD_C)
    return min(1.0, max(LEAST_COLD_SHARE, 1.0 - lost))


def usable_share(volts: float, empty_v: float, temp_c: float | None) -> float:
    """Return the share of a lead battery's charge that may be drawn from here on.

    Args:
        volts: at rest, or under a small load.
        empty_v: where the monitor goes dark.
        temp_c: of the air; None where nothing tells it, which is taken for cold.
    """
    left = max(0.0, charge(volts) - max(KEPT_SHARE, charge(empty_v)))
    return left * cold_share(temp_c)


def supply(
    status: WatchStatus,
    night_hours: float,
    battery_ah: float | None,
    empty_v: float,
    *,
    is_lithium: bool = False,
) -> Finding:
    """Judge whether the supply lasts.

    Args:
        status: what the monitor says, with the hours left where it can tell them.
        night_hours: how long it must last.
        battery_ah: what the battery holds when full, where a person says so.
        empty_v: where the monitor goes dark.
        is_lithium: it is LiFePO4, whose volts do not tell its charge.
    """
    volts = _reading(status.readings, "supply_v")
    if "supply-low" in status.alarms:
        return Finding("supply", "bad", status.alarms["supply-low"][1])
    charge_pct = _reading(status.readings, "charge_pct")
    if volts is None and charge_pct is not None:
        return _by_gauge(charge_pct, status.supply_hours, night_hours)
    if volts is None:
        return Finding("supply", "mind", "not measured: time left unknown")
    amperes = _reading(status.readings, "supply_a")
    draw_a = None if amperes is None else -amperes
    if draw_a is not None and draw_a <= -LEAST_DRAW_A:
        text = f"{volts:.1f} V, charging with {-draw_a:.1f} A"
        return Finding("supply", "good", text)
    found = _hours(status, battery_ah, empty_v, draw_a, volts, is_lithium=is_lithium)
    if found is None:
        text = f"{volts:.1f} V; time left unknown: add --battery-ah"
        return Finding("supply", "mind", text)
    hours, how = found
    shown = "over 48" if hours > 48.0 else f"about {hours:.0f}"
    text = f"{volts:.1f} V, {shown} h left {how} (the night is {night_hours:g})"
    if hours < night_hours:
        return Finding("supply", "bad", f"{text}: charge it")
    if not is_lithium and charge(volts) < KEPT_SHARE:
        return Finding("supply", "mind", f"{text}; a lead battery is below half")
    is_guess = is_lithium and status.supply_hours is None
    return Finding("supply", "mind" if is_guess else "good", text)


def _by_gauge(charge_pct: float, hours: float | None, night_hours: float) -> Finding:
    """Judge a battery by its gauge alone, and by how fast that has fallen."""
    text = f"{charge_pct:.0f} % charged"
    if hours is None:
        word: Word = "mind" if charge_pct < HALF_PCT else "good"
        more = ": charge it" if word == "mind" else ""
        return Finding("supply", word, f"{text}, and not seen to fall{more}")
    shown = "over 48" if hours > 48.0 else f"about {hours:.0f}"
    text += f", {shown} h left by its fall so far (the night is {night_hours:g})"
    if hours < night_hours:
        return Finding("supply", "bad", f"{text}: charge it")
    return Finding("supply", "good", text)


def _hours(
    status: WatchStatus,
    battery_ah: float | None,
    empty_v: float,
    draw_a: float | None,
    volts: float,
    *,
    is_lithium: bool,
) -> tuple[float, str] | None:
    """Return the hours left and how they were counted; the fewer where both are known.

    The fall runs until the monitor goes dark, far below a lead battery's half.
    """
    ways: list[tuple[float, str]] = []
    if status.supply_hours is not None:
        ways.append((status.supply_hours, "by its voltage drop so far"))
    if battery_ah is not None and draw_a is not None:
        share = usable_share(volts, empty_v, _reading(status.readings, "temp_c"))
        how = "to half of a lead battery (LiFePO4: --lithium)"
        if is_lithium:
            share, how = LITHIUM_SHARE, "if it was charged full"
        ways.append((battery_ah * share / max(draw_a, LEAST_DRAW_A), how))
    return min(ways, default=None)


def _reading(readings: Mapping[str, float], channel: str) -> float | None:
    """Return a channel's value, whichever part gives it; the lowest of several."""
    found = [value for key, value in readings.items() if channel_of_key(key) == channel]
    return min(found) if found else None
