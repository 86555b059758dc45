"""Mistakes in files, each one sentence: what is wrong, where, how to mend it."""

import difflib
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.sentences import ended


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

    def __str__(self) -> str:
        """Spell the mistake as one sentence."""
        where = f"{self.file}: {self.key}" if self.key else self.file
        return ended(f"{where} {self.what}; {self.mend}")


class ConfigError(CabinvigilError, ValueError):
    """A config cannot be used; `mistakes` holds every reason at once."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes: tuple[Mistake, ...] = tuple(mistakes)
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))


class BadValueError(ValueError):
    """A value cannot be taken; whoever knows its key makes a `Mistake` of it.

    In `what` and `mend`, `{key}` stands for the key without its path.
    """

    def __init__(self, what: str, mend: str) -> None:
        self.what = what
        self.mend = mend
        super().__init__(f"{what}; {mend}")


@dataclass(frozen=True, slots=True)
class Unit:
    """How a unit that people write turns into one of ours."""

    ours: str
    """The unit as our keys end: `m3`."""
    scale: float
    """Ours = (theirs + shift) x scale."""
    shift: float = 0.0


# Exact by definition (from memory): 1 ft = 0.3048 m,
# 1 in = 25.4 mm, 1 lb = 0.45359237 kg, 1 mile = 1609.344 m, 1 nautical mile = 1852 m.
# Btu: 1055.056 J, the International Table one (from memory).
UNITS: dict[str, Unit] = {
    "m3": Unit("m3", 1.0),
    "ft3": Unit("m3", 0.028316846592),
    "l": Unit("m3", 0.001),
    "litres": Unit("m3", 0.001),
    "cm2": Unit("cm2", 1.0),
    "in2": Unit("cm2", 6.4516),
    "mm2": Unit("cm2", 0.01),
    "m2": Unit("cm2", 10_000.0),
    "m": Unit("m", 1.0),
    "ft": Unit("m", 0.3048),
    "cm": Unit("m", 0.01),
    "mm": Unit("m", 0.001),
    "kw": Unit("kw", 1.0),
    "w": Unit("kw", 0.001),
    "btu_h": Unit("kw", 0.000293071),
    "btu": Unit("kw", 0.000293071),
    # Of propane, by its higher heating value of 50.3 MJ/kg; butane has 2 % less.
    "g_h": Unit("kw", 0.01398),
    "kg": Unit("kg", 1.0),
    "g": Unit("kg", 0.001),
    "lb": Unit("kg", 0.45359237),
    "c": Unit("c", 1.0),
    "f": Unit("c", 5.0 / 9.0, -32.0),
    "mps": Unit("mps", 1.0),
    "kmh": Unit("mps", 1.0 / 3.6),
    "mph": Unit("mps", 0.44704),
    "kn": Unit("mps", 1852.0 / 3600.0),
    "s": Unit("s", 1.0),
    "ms": Unit("s", 0.001),
    "min": Unit("s", 60.0),
    "h": Unit("s", 3600.0),
    "pct": Unit("pct", 1.0),
    "ppm": Unit("ppm", 1.0),
    "mb": Unit("mb", 1.0),
    "gb": Unit("mb", 1000.0),
    "kb": Unit("mb", 0.001),
    "days": Unit("days", 1.0),
    "weeks": Unit("days", 7.0),
    "hz": Unit("hz", 1.0),
    "khz": Unit("hz", 1000.0),
    "v": Unit("v", 1.0),
    "mv": Unit("v", 0.001),
}
"""By the word at a key's end, or behind a number, in small letters."""

_SPELLINGS = {
    "m³": "m3",
    "cbm": "m3",
    "ft³": "ft3",
    "cuft": "ft3",
    "litre": "l",
    "liters": "l",
    "cm²": "cm2",
    "sqin": "in2",
    "in²": "in2",
    "m²": "m2",
    "mm²": "mm2",
    "btu/h": "btu_h",
    "g/h": "g_h",
    "lbs": "lb",
    "°c": "c",
    "celsius": "c",
    "°f": "f",
    "fahrenheit": "f",
    "m/s": "mps",
    "km/h": "kmh",
    "knots": "kn",
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "hours": "h",
    "%": "pct",
    "percent": "pct",
    "metres": "m",
    "watts": "w",
}
_HEX = re.compile(r"\s*0[xX]([0-9a-fA-F]{1,8})\s*")
_NUMBER = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(\S{0,20})\s*")


def unit_of(key: str) -> tuple[str, str]:
    """Split a key into its stem and the unit it ends with ('' where it has none)."""
    words = key.split("_")
    for first in range(1, len(words)):
        unit = "_".join(words[first:])
        if unit in UNITS:
            return "_".join(words[:first]), unit
    return key, ""


def convert(value: float, theirs: str, ours: str) -> float | None:
    """Turn a value into our unit, or None where the two measure different things."""
    if theirs not in UNITS or ours not in UNITS:
        return None
    source, target = UNITS[theirs], UNITS[ours]
    if source.ours != target.ours:
        return None
    return (value + source.shift) * source.scale / target.scale - target.shift


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
    """Say what a value out of its range would be in a unit that was perhaps meant.

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


def one_line(text: str) -> str:
    """Make a text, a file's name say, safe to print on one line of any terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def shown(value: object, longest: int = 40) -> str:
    """Show a value as it may stand in a sentence: one line, bounded."""
    text = repr(value) if isinstance(value, str) else str(value)
    text = one_line(text)
    return text if len(text) <= longest else text[: longest - 3] + "..."


def quantity_in(text: str, ours: str) -> float | None:
    """Read a number that a person typed, with its unit or bare, in our unit.

    Args:
        text: `6`, `6 m3`, `210 ft3`, `5000 BTU/h`.
        ours: the unit as our keys end, `m3`; '' where the number has none.

    Returns:
        None where it is no number, or of something else than `ours` measures.
    """
    found = _NUMBER.fullmatch(text)
    if found is None:
        return None
    number, word = float(found[1].replace(",", ".")), found[2].lower()
    return convert(number, _SPELLINGS.get(word, word), ours) if word else number


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
    found = _NUMBER.fullmatch(value)
    if found is None:
        return BadValueError(f"is the text {shown(value)}, not a number", plain + "1`")
    number = float(found[1].replace(",", "."))
    word = found[2].lower()
    theirs = _SPELLINGS.get(word, word)
    ours = unit_of(key)[1]
    inside = convert(number, theirs, ours) if theirs and ours else number
    if inside is None:
        return BadValueError(
            f"is the text {shown(value)}, not a number in {ours}",
            f"write the number alone, in {ours}",
        )
    return BadValueError(
        f"is the text {shown(value)}, not a number",
        f"write `{key} = {inside:.6g}`, without quotes or unit",
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
    """Return the known word that was most likely meant, or None."""
    by_small = {one.lower(): one for one in known}
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
        f"take it out, or use one that {where} has: {listed(sorted(known))}",
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
