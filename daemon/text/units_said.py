"""Numbers in the units that a person chose: SI, or those of the United States.

What is measured in a unit that both write alike (ppm, %, V, µg/m³, hours) stays as it
is.  Each number is converted once, from the value itself and never from its text.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from cabinvigil.daemon.text.numbers import bracketed, compact, figure, grouped
from cabinvigil.daemon.text.units import UNITS, convert, difference, sign_of


class Shown(NamedTuple):
    """How one of our units is told in the United States."""

    unit: str
    """Its word in the table of units."""
    decimals: int = 0
    """So many more than in SI are as sharp; less than nothing: tens, hundreds."""


IN_US: Mapping[str, Shown] = MappingProxyType(
    {
        "c": Shown("f"),
        "k": Shown("f_apart"),
        "kw": Shown("btu_h", -3),
        "w": Shown("btu_h"),
        "kwh": Shown("btu", -3),
        "w_k": Shown("btu_h_f"),
        "w_m2k": Shown("btu_h_ft2f", 1),
        "m3": Shown("ft3", -1),
        "m3_h": Shown("ft3_min", 1),
        "l": Shown("qt"),
        "cm2": Shown("in2"),
        "kg": Shown("lb"),
        "m": Shown("ft"),
        "mps": Shown("mph"),
        "hpa": Shown("inhg", 2),
    }
)
"""By our unit.  Fine dust stays in micrograms a cubic metre, in which the United States
set its limits too (40 CFR 50, unverified)."""

BY_SIGN: Mapping[str, str] = MappingProxyType(
    {sign_of(unit): unit for unit in IN_US if unit in UNITS}
)
"""Our units that are told otherwise there, by how rules and tables write them."""


@dataclass(frozen=True, slots=True)
class Units:
    """One of the two systems."""

    word: str
    """As the config spells it: `si` or `us`."""

    @property
    def is_us(self) -> bool:
        """Whether numbers are told in the units of the United States."""
        return self.word == "us"

    @property
    def separator(self) -> str:
        """What stands between thousands, also of what both systems write alike."""
        return "," if self.is_us else " "

    def unit(self, unit: str) -> str:
        """Return the unit in which a value in one of ours is told."""
        return IN_US[unit].unit if self.is_us and unit in IN_US else unit

    def sign(self, unit: str) -> str:
        """Return what stands behind a number that is told of one of our units."""
        return sign_of(self.unit(unit))

    def value(self, unit: str, value: float) -> float:
        """Convert a value in one of our units."""
        told = self.unit(unit)
        found = None if told == unit else convert(value, unit, told)
        return value if found is None else found

    def number(
        self, unit: str, value: float, decimals: int = 0, separator: str = ""
    ) -> str:
        """Write a value as sharply as so many decimals are in SI.

        Args:
            unit: one of ours.
            value: in it.
            decimals: of the number in SI.
            separator: between thousands in SI; in the United States a comma, also in
                what both write alike.
        """
        if self.unit(unit) == unit:
            value = value if decimals >= 0 else round(value, decimals)
            return grouped(value, max(0, decimals), "," if self.is_us else separator)
        sharp = decimals + IN_US[unit].decimals
        return grouped(round(self.value(unit, value), sharp), max(0, sharp), ",")

    def said(
        self, unit: str, value: float, decimals: int = 0, separator: str = ""
    ) -> str:
        """Write a value with its unit, as `number` does."""
        number = self.number(unit, value, decimals, separator)
        return f"{number} {self.sign(unit)}"

    def given(self, unit: str, value: float) -> str:
        """Write a value that a person gave: in SI as it was, else to three digits."""
        if self.unit(unit) == unit:
            return f"{value:g}"
        found = self.value(unit, value)
        return grouped(found, 0, ",") if abs(found) >= 1e3 else compact(found)

    def given_said(self, unit: str, value: float) -> str:
        """Write a value that a person gave, with its unit."""
        return f"{self.given(unit, value)} {self.sign(unit)}"

    def span_said(self, unit: str, span: Sequence[float]) -> str:
        """Write from where to where something goes, with its unit."""
        low, high = (self.given(unit, one) for one in span)
        return f"{low} to {high} {self.sign(unit)}"

    def figure(self, unit: str, value: float, digits: int = 2) -> str:
        """Write a value with so many digits that matter."""
        if self.unit(unit) == unit:
            return figure(value, digits)
        found = self.value(unit, value)
        size = abs(found)
        if size < 10.0 ** max(digits, 3):
            return figure(found, digits)
        drop = digits - 1 - math.floor(math.log10(size))
        return grouped(round(found, max(drop, IN_US[unit].decimals)), 0, ",")

    def spread(self, unit: str, triple: Sequence[float | None], digits: int = 2) -> str:
        """Write a middle with its 5 and 95 % points, without the unit."""
        known = [one for one in triple if one is not None]
        if len(known) < len(triple):
            return "not known"
        low, middle, high = (self.figure(unit, one, digits) for one in known)
        return bracketed(middle, low, high)

    def fixed(self, unit: str, triple: Sequence[float], decimals: int) -> str:
        """Write a middle with its 5 and 95 % points, all equally sharp, unitless."""
        low, middle, high = (self.number(unit, one, decimals) for one in triple)
        return bracketed(middle, low, high)

    def of_sign(
        self, sign: str, value: float, *, apart: bool = False
    ) -> tuple[float, str]:
        """Convert a value whose unit is known by its sign, as a rule's facts have it.

        Args:
            sign: the unit as it is written; any that is not ours is left.
            value: in it.
            apart: it is the difference of two values.

        Returns:
            The value and the sign of its unit.
        """
        unit = BY_SIGN.get(sign, "")
        if not unit or not self.is_us:
            return value, sign
        unit = difference(unit) if apart else unit
        return self.value(unit, value), self.sign(unit)


SI, US = Units("si"), Units("us")
SYSTEMS: Mapping[str, Units] = MappingProxyType({one.word: one for one in (SI, US)})
"""By the config's word."""


def units_named(word: object, otherwise: Units = SI) -> Units:
    """Return the units of a word; those in its place where it is none."""
    return SYSTEMS.get(word, otherwise) if isinstance(word, str) else otherwise
