"""The account's lines: a named figure, a range, a paragraph, an area of vent."""

import math
import textwrap

from cabinvigil.daemon.planning.openings import CM2_PER_IN2
from cabinvigil.daemon.planning.plan import Range
from cabinvigil.daemon.text.numbers import bracketed, or_never

WIDTH = 84


def wrapped(text: str, indent: str = "   ") -> list[str]:
    """Break a paragraph into lines; none where there is no text."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def ranged(triple: Range, decimals: int, unit: str) -> str:
    """Spell the likeliest figure, and the least and the most where they differ."""
    low, middle, high = (or_never(value, decimals) for value in triple)
    likeliest = middle if middle == "never" else f"{middle} {unit}"
    return likeliest if low == high else bracketed(f"{likeliest} ", low, high)


def row(label: str, text: str) -> str:
    """Put a figure behind its name."""
    return f"   {label:<31}{text}"


def area(cm2: float, is_: str = "", *, asked: bool = True) -> str:
    """Spell an area in both units: the second in brackets, or after a sign.

    Whole inches are rounded up where they are asked for: done in them, it is enough.
    """
    inches2 = cm2 / CM2_PER_IN2
    number = f"{math.ceil(inches2) if asked else inches2:.0f}"
    inches = f"{number} square {'inch' if number == '1' else 'inches'}"
    return f"{cm2:.0f} cm2{is_}{inches}" if is_ else f"{cm2:.0f} cm2 ({inches})"


def areas(low_cm2: float, high_cm2: float) -> str:
    """Spell areas by where they are, those that are there."""
    wanted = {"near the floor": low_cm2, "near the roof": high_cm2}
    return " and ".join(f"{area(cm2)} {at}" for at, cm2 in wanted.items() if cm2)
