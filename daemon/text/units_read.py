"""A number with its unit, as a person types it: `5000 BTU/h`, `20 F`, `210 ft3`.

In either system, whatever the outputs are in.  What may mean two things is refused,
never guessed: a comma before three digits, a BTU without its hour.
"""

import math
import re
from typing import NamedTuple

from cabinvigil.daemon.text.units import READ_AS, UNITS, convert, sign_of
from cabinvigil.daemon.text.units_said import IN_US, SI, US

_TYPED = re.compile(r"\s*([-+\u2212]?(?:\d[\d.,]*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")
_FEET_AND_INCHES = re.compile(
    r"\s*(\d+)\s*(?:'|ft\b|feet\b|foot\b)\s*(\d+(?:\.\d+)?)\s*"
    r"(?:\"|''|in\b|inch\b|inches\b)?\s*",
    re.IGNORECASE,
)
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d+")
_LONGEST = 40
_AMERICAN = frozenset({shown.unit for shown in IN_US.values()} | {"in", "qt"})
_SAME_WORDS = {"k": {"f": "f_apart", "c": "k"}, "kw": {}, "c": {}}
"""By our unit: words that mean another unit where a number in it is asked."""


class UnitError(ValueError):
    """A number's text or unit cannot be taken."""

    def __init__(self, what: str, mend: str, *, is_doubt: bool = False) -> None:
        """Say what is wrong, as the rest of a clause, and how to mend it.

        Args:
            what: is wrong.
            mend: as an imperative clause.
            is_doubt: it may mean two things; what is asked would be no help.
        """
        super().__init__(f"{what}; {mend}")
        self.what = what
        self.mend = mend
        self.is_doubt = is_doubt


class Typed(NamedTuple):
    """A number as it was typed, and what it is in our unit."""

    value: float
    """In our unit."""
    number: float
    """As typed."""
    unit: str
    """Its unit's word; where none was typed, the one that it stands in."""
    is_bare: bool
    """No unit was typed."""


def typed(text: str, ours: str, bare: str = "") -> Typed | None:
    """Read a number with its unit, or bare.

    Args:
        text: as typed.
        ours: the unit that is asked; '' for a bare number alone.
        bare: the unit that a bare number stands in, where that is another.

    Returns:
        None where it is no number at all.

    Raises:
        UnitError: its unit is not known, measures something else or may mean two
            things, or its comma may.
    """
    text = _in_feet(text[: _LONGEST + 1]) if ours == "m" else text
    found = _TYPED.fullmatch(text[: _LONGEST + 1])
    if found is None:
        return None
    word = " ".join(found[2].replace("^", "").split()).lower()
    unit = _unit(word, ours, text) if word else bare or ours
    number = _number(found[1].replace("\u2212", "-"), unit, text)
    if number is None or not math.isfinite(number):
        return None
    value = number if unit == ours else convert(number, unit, ours)
    if value is None:
        raise UnitError(
            f"is {_shown(text)}, not a number in {sign_of(ours)}", _asks(ours)
        )
    return Typed(value, number, unit, not word)


def _in_feet(text: str) -> str:
    """Make one number of feet and inches; any other text stays as it is."""
    both = _FEET_AND_INCHES.fullmatch(text)
    return text if both is None else f"{int(both[1]) + float(both[2]) / 12.0:.10g} ft"


def _number(text: str, unit: str, whole: str) -> float | None:
    """Read the digits; a comma parts thousands in a unit of the United States alone."""
    if _THOUSANDS.fullmatch(text):
        if unit in _AMERICAN or text.count(",") > 1 or "." in text:
            text = text.replace(",", "")
        else:
            plain, point = text.replace(",", ""), text.replace(",", ".")
            raise UnitError(
                f"is {_shown(whole)}, which may be {plain} or {float(point):g}",
                f"write {plain} or {float(point):g}",
                is_doubt=True,
            )
    elif _DECIMAL_COMMA.fullmatch(text):
        text = text.replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return None


def _unit(word: str, ours: str, text: str) -> str:
    if not ours:
        raise UnitError(
            f"is {_shown(text)}, not a bare number", "write the number alone"
        )
    unit = READ_AS.get(word)
    if unit is None:
        raise UnitError(f"is {_shown(text)}, in a unit that is not known", _asks(ours))
    unit = _SAME_WORDS.get(ours, {}).get(unit, unit)
    if unit == "btu" and UNITS[ours].ours == "kw":
        number = text.lower().replace("btu", "").strip()
        raise UnitError(
            f"is {_shown(text)}, an amount of heat and no power",
            f"write '{number} BTU/h' if that was meant",
            is_doubt=True,
        )
    return unit


def _asks(ours: str) -> str:
    signs = dict.fromkeys((SI.sign(ours), US.sign(ours)))
    alone = f"write the number alone, in {sign_of(ours)}"
    return f"{alone}, or with its unit: {' or '.join(signs)}"


def _shown(text: str) -> str:
    line = "".join(one if one.isprintable() else "?" for one in text)
    return "the text " + repr(line if len(line) <= _LONGEST else f"{line[:37]}...")


def said_back(read: Typed, ours: str) -> str:
    """Return what a number is in our unit: `5,000 BTU/h is 1.47 kW`."""
    number = f"{read.number:,.10g}" if read.unit in _AMERICAN else f"{read.number:.10g}"
    return f"{number} {sign_of(read.unit)} is {_three(read.value)} {sign_of(ours)}"


def _three(value: float) -> str:
    """Write three digits, or all of a whole number."""
    size = abs(value)
    if size == 0.0 or size >= 1000.0:
        return f"{value:.0f}"
    return f"{value:.{max(0, 2 - math.floor(math.log10(size)))}f}"
