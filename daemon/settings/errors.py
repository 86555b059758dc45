"""Mistakes in files, each one sentence: what is wrong, where, how to mend it."""

import difflib
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.numbers import compact
from cabinvigil.daemon.text.sentences import ended
from cabinvigil.daemon.text.units import convert, sign_of, unit_of, unit_of_key
from cabinvigil.daemon.text.units_read import UnitError, typed
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import IN_US, SI, US, Units


class Outside(NamedTuple):
    """A number that is out of its range, all in the unit that its key names."""

    key: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing that is wrong in one file."""

    file: str
    """The file as it was named to us."""
    key: str
    """The key's path, `cabin.volume_m3`; '' for the file as a whole."""
    what: str
    """What is wrong, as the rest of a clause that starts with the key or file."""
    mend: str
    """What to do, as an imperative clause."""
    outside: Outside | None = None
    """Where it is a number out of its range."""

    def __str__(self) -> str:
        """Format the mistake as one sentence."""
        return self.said(SI)

    def said(self, units: Units) -> str:
        """Format the mistake as one sentence, in a person's units."""
        where = f"{self.file}: {self.key}" if self.key else self.file
        what, mend = self.what, self.mend
        if units.is_us:  # SI, in which it was made, quotes what was typed in any
            what, mend = retold(what, units), retold(mend, units)
            if self.outside is not None:
                what, mend = _outside_in(units, self.outside) or (what, mend)
        return ended(f"{where} {what}; {mend}")


class ConfigError(CabinvigilError, ValueError):
    """A config cannot be used; `mistakes` holds every reason at once."""

    def __init__(self, mistakes: Iterable[Mistake], units: Units = SI) -> None:
        """Keep every reason.

        Args:
            mistakes: all of them.
            units: in which the file wants people told.
        """
        self.mistakes: tuple[Mistake, ...] = tuple(mistakes)
        self.units = units
        super().__init__("\n".join(one.said(units) for one in self.mistakes))


class BadValueError(ValueError):
    """A value cannot be taken; whoever knows its key makes a `Mistake` of it.

    In `what` and `mend`, `{key}` stands for the key without its path.
    """

    def __init__(self, what: str, mend: str, outside: Outside | None = None) -> None:
        self.what = what
        self.mend = mend
        self.outside = outside
        super().__init__(f"{what}; {mend}")


_HEX = re.compile(r"\s*0[xX]([0-9a-fA-F]{1,8})\s*")


CONFUSED: dict[str, tuple[tuple[str, str], ...]] = {
    "m3": (("l", "litres"), ("ft3", "cubic feet")),
    "cm2": (("mm2", "mm2"), ("in2", "square inches")),
    "m": (("ft", "feet"), ("cm", "cm"), ("mm", "mm")),
    "kw": (("w", "watts"), ("btu_h", "BTU/h"), ("g_h", "g/h")),
    "kg": (("g", "grams"), ("lb", "pounds")),
    "c": (("f", "degrees Fahrenheit"),),
    "mps": (("kmh", "km/h"),),
}
"""Units that are written in place of ours, and how people call them."""


def other_unit(key: str, value: float, low: float, high: float) -> str:
    """Return what a value out of its range would be in a unit that was perhaps meant.

    Args:
        key: which ends with its unit.
        value: as it stands there.
        low: the least that is taken.
        high: the most.

    Returns:
        A clause, or '' where no other unit explains it.
    """
    ours = unit_of(key)[1]
    found = []
    for theirs, words in CONFUSED.get(ours, ()):
        inside = convert(value, theirs, ours)
        if inside is not None and low <= inside <= high:
            rounded = float(f"{inside:.3g}")
            found.append(f"if it is in {words}, write `{key} = {rounded:g}`")
    return "; ".join(found)


_THERE = frozenset({"ft3", "in2", "ft", "btu_h", "lb", "f"})
"""Units of the United States that are written in place of ours."""


def _outside_in(units: Units, found: Outside) -> tuple[str, str] | None:
    """Say in the units of the United States what is wrong with a number, and the mend.

    A bare number stands in the key's own unit, so that theirs is to be written.
    """
    key, value, low, high = found
    unit = unit_of_key(key)
    if unit not in IN_US:
        return None
    said = units.given_said
    what = f"is {said(unit, value)}, outside what is accepted"
    mend = f"give a value from {units.given(unit, low)} to {said(unit, high)}, with "
    mend += "its unit"
    for theirs, _ in CONFUSED.get(unit, ()):
        inside = convert(value, theirs, unit)
        if theirs in _THERE and inside is not None and low <= inside <= high:
            mend += f'; write "{compact(value)} {sign_of(theirs)}" if that was meant'
    return what, mend


def one_line(text: str) -> str:
    """Make a text, a file's name say, safe to print on one line of any terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def shown(value: object, longest: int = 40) -> str:
    """Show a value as it may stand in a sentence: one line, bounded."""
    text = repr(value) if isinstance(value, str) else str(value)
    text = one_line(text)
    return text if len(text) <= longest else text[: longest - 3] + "..."


def not_a_number(key: str, value: object) -> BadValueError:
    """Say of a value that should be a number what it is, and what to write."""
    plain = f"write it as a bare number in the unit that the key names, like `{key} = "
    if not isinstance(value, str):
        return BadValueError(f"is {_kind(value)}, not a number", plain + "1`")
    written = _HEX.fullmatch(value)
    if written is not None:
        return BadValueError(
            f"is the text {shown(value)}, not a number",
            f"write `{key} = 0x{written[1].lower()}`, without quotes",
        )
    ours = unit_of_key(key)
    try:
        found = typed(value, ours)
    except UnitError as error:
        return BadValueError(error.what, error.mend)
    if found is None:
        return BadValueError(f"is the text {shown(value)}, not a number", plain + "1`")
    with_unit, other = "with its unit in them", US.unit(ours)
    if other != ours:
        theirs = f"{found.value:.6g} {US.sign(ours)}"
        with_unit = f'`{key} = "{theirs}"` if that was meant'
    return BadValueError(
        f"is the text {shown(value)}, not a number",
        f"write `{key} = {found.value:.6g}`, without quotes, or {with_unit}",
    )


def _kind(value: object) -> str:
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, int | float):
        return f"the number {shown(value)}"
    return f"{shown(value)}"


def not_a(wanted: str, value: object, mend: str) -> BadValueError:
    """Say that a value has the wrong type."""
    kind = f"the text {shown(value)}" if isinstance(value, str) else _kind(value)
    return BadValueError(f"is {kind}, not {wanted}", mend)


def nearest(word: str, known: Sequence[str]) -> str | None:
    """Return the known word that was most likely meant, or None.

    One that goes on behind a hyphen is nearer than one that is spelled alike: `co`
    means `co-level`, not `cold`.
    """
    by_small = {one.lower(): one for one in known}
    begins = f"{word[:80].lower()}-"
    levels = (f"{begins}level", f"{begins}low")
    longer = [small for small in by_small if small.startswith(begins)]
    if longer:
        return by_small[min(longer, key=lambda one: (one not in levels, one))]
    found = difflib.get_close_matches(word[:80].lower(), by_small, n=1, cutoff=0.6)
    return by_small[found[0]] if found else None


def listed(words: Iterable[str]) -> str:
    """List words for a sentence."""
    return ", ".join(words) or "none"


def unknown_key(
    key: str, value: object, known: Sequence[str], where: str
) -> BadValueError:
    """Say that a key is not known, and which was most likely meant."""
    stem, theirs = unit_of(key)
    for candidate in known:
        candidate_stem, ours = unit_of(candidate)
        if theirs and ours and candidate_stem == stem and theirs != ours:
            return _wrong_unit(value, theirs, candidate, ours)
    close = nearest(key, known)
    if close is not None:
        return BadValueError("is not a known key", f"write `{close}` if that was meant")
    return BadValueError(
        "is not a known key",
        f"remove it, or use one that {where} has: {listed(sorted(known))}",
    )


def _wrong_unit(value: object, theirs: str, candidate: str, ours: str) -> BadValueError:
    inside = None
    if isinstance(value, int | float) and not isinstance(value, bool):
        # TOML knows inf, and whole numbers of thousands of digits.
        is_sane = abs(value) < sys.float_info.max
        inside = convert(float(value), theirs, ours) if is_sane else None
    mend = f"give it as `{candidate}`, in {ours}"
    if inside is not None:
        mend = f"write `{candidate} = {inside:.6g}`"
    return BadValueError(f"is in {theirs}, but this is given in {ours}", mend)
