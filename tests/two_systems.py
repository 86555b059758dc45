"""Two texts, one in each system of units: both must say the same, converted once.

Everything but numbers and units must be alike; each number that differs must be the
other converted by `pint` from some value that both could have been rounded from.
"""

import re
from collections.abc import Iterator
from html import unescape

from cabinvigil.daemon.text.units import sign_of, with_powers
from cabinvigil.daemon.text.units_said import IN_US
from tests.text.test_units import by_pint

PLAIN = {"C": "c", "metres": "m", "Metern": "m", "mètres": "m", "degrees": "c"}
"""Signs in SI that are no unit's own: the plan's, and words of sentences."""
WORDS = {"feet": "m", "Fuß": "m", "pieds": "m", "inches of mercury": "hpa"}
SI_SIGNS = {
    **PLAIN,
    **{sign_of(unit): unit for unit in IN_US},
    **{with_powers(sign_of(unit)): unit for unit in IN_US},
    "hectopascals": "hpa",
}
US_SIGNS = {
    **WORDS,
    **{sign_of(shown.unit): unit for unit, shown in IN_US.items()},
    **{with_powers(sign_of(shown.unit)): unit for unit, shown in IN_US.items()},
}
_ANY = "|".join(
    re.escape(sign) for sign in sorted({*SI_SIGNS, *US_SIGNS}, key=len, reverse=True)
)
NUMBER = re.compile(
    r"(?<![\w.,-])-?(?:\d{2,3} \d{3}|\d+(?:,\d{3})*(?:\.\d+)?)(?![\w.]*\d)"
)
"""As people read it: 10 000 in SI, 10,000 in US units."""
UNIT = re.compile(rf"(?<=[\s,/])(?:{_ANY})(?![\w³²/(])")
BEHIND = re.compile(rf"(?: \([^()]*\))? (?P<sign>{_ANY})(?![\w³²/(])")


def plain(text: str) -> str:
    """Take out what a page or a wrapped line puts between words."""
    text = re.sub(r"<style>.*?</style>", " ", text, flags=re.DOTALL)
    text = unescape(re.sub(r"<[^>]*>", " ", text))
    return " ".join(text.replace("\u00a0", " ").split())


def skeleton(text: str) -> str:
    """Return a text without its numbers and units, and without areas in brackets."""
    text = re.sub(r" (?:= \d+ square inch(?:es)?|\(\d+ square inch(?:es)?\))", "", text)
    return UNIT.sub("<unit>", NUMBER.sub("<n>", text))


def _joined(number: str) -> str:
    """Return a number without what sets its thousands apart."""
    return re.sub("[, ]", "", number)


def step_of(number: str) -> float:
    """Return how sharp a number is as it is written; zeros at its end may be round."""
    digits = _joined(number).lstrip("-")
    if "." in digits:
        return 10.0 ** -len(digits.partition(".")[2])
    zeros = len(digits) - len(digits.rstrip("0"))
    return 10.0 ** min(zeros, 3) if digits.strip("0") else 1.0


def _units_of(sign: str, text: str, begin: int, end: int) -> tuple[str, ...]:
    """Return what a number in SI may be, by its sign and the words about it."""
    before, behind = text[max(0, begin - 10) : begin], text[end : end + 40]
    if sign == "°C" and (
        before.endswith("steps of ") or re.search(r"(above|below) the dew", behind)
    ):
        return ("k",)
    if sign == "W" and " for each of " in behind:
        return ("w_k",)
    return (SI_SIGNS[sign],) if sign in SI_SIGNS else ()


def _fits(si: str, us: str, unit: str) -> bool:
    there = IN_US[unit].unit
    a, b = (float(_joined(one)) for one in (si, us))
    slope = abs(by_pint(1.0, unit, there) - by_pint(0.0, unit, there))
    most = 0.5 * slope * step_of(si) + 0.5 * step_of(us)
    return abs(by_pint(a, unit, there) - b) <= most * 1.001 + 1e-9


def _is_same(unit: str, si: str, us: str) -> bool:
    """Say whether a unit of the one system stands where the other's did."""
    signs = {sign_of(IN_US[one].unit) for one in (unit, SI_SIGNS[si])}
    return us in signs | {with_powers(one) for one in signs} or WORDS.get(us) == unit


def differences(si: str, us: str) -> Iterator[str]:
    """Yield what is not the same in both, and every unit of the other system.

    Args:
        si: a text in SI.
        us: the same in the units of the United States.
    """
    si, us = (
        re.sub(r" (?:= \d+ square inch(?:es)?|\(\d+ square inch(?:es)?\))", "", one)
        for one in (plain(si), plain(us))
    )
    us = re.sub(r"Read without a unit: [^.]*(?:\.\d+[^.]*)*\. ", "", us, count=1)
    us = re.sub(r"Read without a unit: .*? write others as 210ft3\. ", "", us)
    # A range in a narrow table is `(4-13)`.
    si, us = (
        re.sub(r"\((-?[\d.,]+|never)-(-?[\d.,]+|never)\)", r"(\1 to \2)", one)
        for one in (si, us)
    )
    # In SI thousands are set apart by a space: `3 500 m`.
    si = re.sub(rf"(?<=\d) (?=\d{{3}} (?:{_ANY})(?![\w³²/(]))", "", si)
    # Of what both write alike: `17 200 ppm`, and in a range.
    si = re.sub(r"(?<![\w.,])(\d{1,3}) (\d{3})(?= (?:ppm|to)\b|\))", r"\1\2", si)
    if skeleton(si) != skeleton(us):
        pairs = zip(skeleton(si).split(), skeleton(us).split(), strict=False)
        at = next((n for n, (a, b) in enumerate(pairs) if a != b), 0)
        near = slice(max(0, at - 6), at + 6)
        yield f"{skeleton(si).split()[near]} is not {skeleton(us).split()[near]}"
        return
    for text, own, other in ((si, SI_SIGNS, US_SIGNS), (us, US_SIGNS, SI_SIGNS)):
        for found in re.finditer(rf"\d{BEHIND.pattern}", text):
            if found["sign"] in other.keys() - own.keys():
                yield f"speaks the other system: {found[0]}"
    for one, two in zip(NUMBER.finditer(si), NUMBER.finditer(us), strict=True):
        sign = BEHIND.match(si, one.end())
        if sign is not None:
            told = BEHIND.match(us, two.end())
            units = _units_of(sign["sign"], si, *one.span())
            if told is None or not units:
                yield f"{one[0]} {sign['sign']} has no unit in {two[0]}"
            elif not _is_same(units[0], sign["sign"], told["sign"]):
                yield f"{sign['sign']} became {told['sign']}"
            elif not _fits(one[0], two[0], units[0]):
                yield f"{one[0]} {sign['sign']} is no {two[0]} {told['sign']}"
        elif _joined(one[0]) != _joined(two[0]) and not any(
            _fits(one[0], two[0], u) for u in IN_US
        ):
            yield f"{one[0]} is not {two[0]}"
