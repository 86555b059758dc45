"""The account's lines: a named figure, a range, a paragraph, an area of vent."""

import math

from cabinvigil.daemon.planning.openings import CM2_PER_IN2
from cabinvigil.daemon.planning.plan import Range
from cabinvigil.daemon.text.numbers import bracketed, or_never
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.daemon.text.wrapping import wrap

WIDTH = 80
AT_ONCE_MIN = 1.0
"""What comes sooner is there already: no minutes are told of it."""
HOURS_FROM_MIN = 90.0
"""More minutes are told as hours."""


def wrapped(text: str, indent: str = "   ") -> list[str]:
    """Break a paragraph into lines; none where there is no text."""
    return wrap(text, WIDTH, indent, indent)


def ranged(triple: Range, decimals: int, unit: str, units: Units = SI) -> str:
    """Format the likeliest figure, and the least and the most where they differ.

    Args:
        triple: least, likeliest, most; None is never.
        decimals: in SI.
        unit: one of ours, or any other text.
        units: in which they are told.
    """
    low, middle, high = (
        or_never(value)
        if value is None
        else units.number(unit, value, decimals, separator=" ")
        for value in triple
    )
    likeliest = middle if middle == "never" else f"{middle} {units.sign(unit)}"
    return likeliest if low == high else bracketed(f"{likeliest} ", low, high)


def lasting(triple: Range) -> str:
    """Spell a length of time in minutes and its range; in hours where it is long."""
    known = [one for one in triple if one is not None]
    in_hours = bool(known) and max(known) >= HOURS_FROM_MIN
    low, likeliest, high = (_counted(one, in_hours=in_hours) for one in triple)
    unit = " h" if in_hours else " min"
    text = likeliest + unit * (likeliest != "never")
    if low == high:
        return text
    return bracketed(f"{text} ", low + unit * (likeliest == "never"), high)


def _counted(value_min: float | None, *, in_hours: bool) -> str:
    if value_min is None or not in_hours:
        return or_never(value_min)
    return f"{value_min / 60.0:.1f}"


def row(label: str, text: str) -> str:
    """Put a figure behind its name."""
    return f"   {label:<31}{text}"


def area(cm2: float, units: Units, is_: str = "", *, up: bool = False) -> str:
    """Format an area; in SI in both units, the second in brackets or after a sign.

    Args:
        cm2: the area.
        units: in which it is told.
        is_: the sign between the two; '' puts the second in brackets.
        up: whole inches are rounded up: what is asked for is enough, done in them.
    """
    if units.is_us:
        return units.said("cm2", cm2)
    inches2 = cm2 / CM2_PER_IN2
    number = f"{math.ceil(inches2) if up else inches2:.0f}"
    inches = f"{number} square {'inch' if number == '1' else 'inches'}"
    return f"{cm2:.0f} cm²{is_}{inches}" if is_ else f"{cm2:.0f} cm² ({inches})"


def asked(cm2: float, units: Units) -> str:
    """Format an area that is asked for: in square inches rounded up, never short."""
    if not units.is_us:
        return area(cm2, units, up=True)
    tenths = math.ceil(10.0 * units.value("cm2", cm2) - 1e-6)
    return f"{tenths / 10.0:.1f} {units.sign('cm2')}"


def areas(low_cm2: float, high_cm2: float, units: Units) -> str:
    """Format areas that are asked for by where they are, those that are there."""
    wanted = {"near the floor": low_cm2, "near the roof": high_cm2}
    return " and ".join(
        f"{asked(cm2, units)} {at}" for at, cm2 in wanted.items() if cm2
    )
