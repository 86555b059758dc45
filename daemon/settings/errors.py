"""Mistakes in files, each one sentence: what is wrong, where, how to mend it."""

import difflib
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.sentences import ended
from cabinvigil.daemon.text.units import convert, unit_of, unit_of_key
from cabinvigil.daemon.text.units_read import UnitError, typed


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
    return BadValueError(
        f"is the text {shown(value)}, not a number",
        f"write `{key} = {found.value:.6g}`, without quotes, or with its unit in them",
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
