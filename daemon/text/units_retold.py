"""Sentences that were said in one system of units, told in the other.

A log holds the sentences that its night was told, in the units of that night; whoever
reads it may want others.  Where the log holds the number that a sentence was rounded
from, that one is converted; else the rounded one is, as sharply as it was said.
"""

import math
import re
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import NamedTuple

from cabinvigil.daemon.text.units import convert, difference
from cabinvigil.daemon.text.units_said import IN_US, Units

APART = frozenset({"sensors-disagree", "stratified"})
"""Alarms whose sentences say by how much two values differ, and no temperature."""
_LARGEST = 1e9


class _Pair(NamedTuple):
    """One unit as both systems write it."""

    unit: str
    """Ours."""
    si: str
    us: str


_PAIRS = (
    _Pair("c", "°C", "°F"),
    _Pair("k", "K", "°F"),
    _Pair("kw", "kW", "BTU/h"),
    # What the message files say in place of signs; English, German, French.
    _Pair("hpa", "hPa", "inHg"),
    _Pair("hpa", "hectopascals", "inches of mercury"),
    _Pair("hpa", "Hektopascal", "Zoll Quecksilbersäule"),
    _Pair("hpa", "hectopascals", "pouces de mercure"),
    _Pair("m", "metres", "feet"),
    _Pair("m", "Metern", "Fuß"),
    _Pair("m", "mètres", "pieds"),
)
"""All that sentences of alarms and faults are said in (config/words_en.toml); a bare
`m` is a word of its own in too many places."""
_FROM_SI: Mapping[str, _Pair] = MappingProxyType({p.si: p for p in reversed(_PAIRS)})
_FROM_US: Mapping[str, _Pair] = MappingProxyType({p.us: p for p in reversed(_PAIRS)})
"""By the sign; where two units share one, by the first of them above."""


def _pattern(signs: Iterable[str]) -> re.Pattern[str]:
    longest_first = sorted(signs, key=len, reverse=True)
    known = "|".join(re.escape(one) for one in longest_first)
    # Behind a quotation mark stands what somebody typed, which is shown as it is.
    unquoted = r"(?<![\w.,'])(?<!'[-\u2212])"
    return re.compile(rf"{unquoted}([-\u2212]?\d+(?:[.,]\d+)?)(\s)({known})(?!\w)")


_IN_SI, _IN_US = _pattern(_FROM_SI), _pattern(_FROM_US)


def retold(
    text: str, units: Units, exact: Iterable[float] = (), *, is_apart: bool = False
) -> str:
    """Convert a sentence to the units that are asked; one that is in them stays.

    Args:
        text: the sentence.
        units: in which it is to be told.
        exact: in SI, what its numbers may have been rounded from.
        is_apart: its degrees are the difference of two temperatures.
    """
    known = [one for one in exact if abs(one) < _LARGEST]

    def told(found: re.Match[str]) -> str:
        return _told(found, units, known, is_apart=is_apart)

    return (_IN_SI if units.is_us else _IN_US).sub(told, text)


def _told(
    found: re.Match[str], units: Units, exact: Iterable[float], *, is_apart: bool
) -> str:
    number, space, sign = found.groups()
    pair = (_FROM_SI if units.is_us else _FROM_US)[sign]
    unit = difference(pair.unit) if is_apart else pair.unit
    decimal = "," if "," in number else "."
    value = float(number.replace("\u2212", "-").replace(",", "."))
    decimals = len(number.replace(",", ".").partition(".")[2])
    there = IN_US[unit]
    if units.is_us:
        value = next((one for one in exact if round(one, decimals) == value), value)
        sharp = decimals + there.decimals
        made = units.value(unit, value)
    else:
        ours = convert(value, there.unit, unit)
        made = value if ours is None else ours
        sharp = max(0, decimals - there.decimals)
    if not math.isfinite(made):
        return found[0]
    text = f"{made:z.{max(0, sharp)}f}".replace(".", decimal)
    if sharp < 0:
        text = units.given(unit, value)
    return f"{text}{space}{pair.us if units.is_us else pair.si}"
