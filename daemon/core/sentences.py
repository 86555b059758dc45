"""The sentences a person hears: pure, total, one line of at most 140 characters.

Each alarm has variants from the fullest to the barest; the first whose facts are all
there, and which fits, is said.  So a fact that is missing, or is no number, leaves a
shorter sentence that is still true, never an error and never a hole.
"""

import math
import re
import string
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.text.durations import spoken, whole_minutes
from cabinvigil.daemon.text.numbers import compact
from cabinvigil.daemon.text.units_said import SI, Units

LONGEST = 140
"""Characters of a sentence: one line on any phone (design, section 7)."""

WIDEST = 20
"""Most that a field's format may ask for, in characters or decimals: a file's `:999999`
would fill the memory, and with it the night (our choice)."""

GENERAL = "general"
"""Stands in for an alarm that the words do not name: one of a person's own."""

ALL_CLEAR = "all-clear"
"""Said when everything is good again, beyond doubt."""

NEWS = frozenset(
    {
        *(ALL_CLEAR, "answered", "missed", "ended", "trial", "trial-over"),
        *("contact-over", "displaced-over"),
    }
)
"""What is told and is no alarm: nobody is asked to act on it at once."""

FACTS = frozenset(
    {
        *("o2_pct", "rate_pct_per_h", "settles_pct", "co_ppm", "cohb_pct", "co2_ppm"),
        *("gas_lel_pct", "temp_c", "rh_pct", "dew_point_c", "surface_c", "supply_v"),
        "charge_pct",
        *("pm2_5_ugm3", "minutes", "hours", "seconds", "limit", "value", "apart"),
        *("o2_hpa", "height_m"),
        *("part", "source", "place", "other", "unit", "text"),
    }
)
"""What rules may hand in; anything else is passed over."""

MADE = frozenset(
    {
        "alarm",
        "fall_pct_per_h",
        "rise_pct_per_h",
        "minutes_text",
        "hours_text",
        "seconds_text",
        "value_text",
        "apart_text",
        "temp_text",
        "surface_text",
        "dew_point_text",
        "height_text",
    }
)
"""What is made of them here, and may stand in a sentence too."""

_IN_UNITS = (
    # the fact, what is made of it, its unit, its decimals in SI
    ("temp_c", "temp_text", "c", 0),
    ("surface_c", "surface_text", "c", 1),
    ("dew_point_c", "dew_point_text", "c", 1),
    ("height_m", "height_text", "m", 0),
)
"""Facts that are said with their unit, in the cabin's own units; the facts themselves
stay SI."""

YES = ("yes", "y")
"""What counts as a yes where a message file does not say."""

NO_BREAK = "\u00a0"
"""Stands between a number and its unit, and before a colon that wants a space, so that
no line of a phone or a terminal parts them."""
_BREAKS = re.compile(r"(?<![^\s(])(-?\d(?:[\d.,]*\d)?) (?=[^\W\d_]|[%°])| (?=[:;!?])")
"""The space behind a number that is a word of its own (not that of `bunk-o2`)."""

DIGITS_TOGETHER = 4
"""Read at a glance; of more the thousands are set apart (common practice)."""
_THOUSANDS = re.compile(r"(?<=\d)(?=(?:\d{3})+$)")

_SPACES = re.compile(rf"[^\S{NO_BREAK}]+")
"""What becomes one space; the one within a number stays."""

_ACT = re.compile(r"(?<=[.!?]) \S[^.!?]*[.!?]?$")
"""The last of two sentences or more."""

PLURAL_FROM = 1.1
"""Any number but 1 takes the plural: none is less, and they are said to a tenth."""
STEADY_PCT_PER_H = 0.05
"""A slower change would be shown as 0.0: it is no trend."""


@dataclass(frozen=True, slots=True)
class MessageCatalog:
    """One language."""

    language: str
    decimal: str
    """The decimal sign."""
    spans: Mapping[str, tuple[str, str]]
    """`second minute hour`: the form for one, and the form for any other number,
    each with `{n}`."""
    terms: Mapping[str, str]
    """What rules say in English (a quantity, a place, a unit), in this language."""
    alarms: Mapping[str, Mapping[str, tuple[str, ...]]]
    """By alarm, then by case: `<wording>-<priority>`, `<wording>`, `<priority>` or
    `any`, looked up in that order; the variants, the fullest first."""
    thousands: str = ""
    """The mark between thousands, of five digits and more."""
    plural_from: float = PLURAL_FROM
    """The least number that takes the plural."""
    phone: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    """How an alert begins and ends on the phone: `fresh late second second_news
    rehearsal`."""
    silence: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    """What the phone service says itself: the monitor says none of it."""
    yes: tuple[str, ...] = YES
    """What a person says who agrees, in small letters; anything else is a no."""
    units: Units = SI
    """In which numbers are said."""


class _Facts(string.Formatter):
    """Fill a sentence; a fact that is absent or unfit is an error, caught above."""

    def __init__(self, words: MessageCatalog) -> None:
        self._words = words

    def get_field(self, field_name: str, args: Any, kwargs: Any) -> Any:
        # Names alone: nothing in a message file reaches into an object.
        del args
        return kwargs[field_name], field_name

    def format_field(self, value: Any, format_spec: str) -> str:
        text = format(value, format_spec)
        if not isinstance(value, float):
            return text
        if float(text) == 0.0:
            text = text.lstrip("-")  # -0.04 is no "-0.0"
        return _set_apart(text, self._words)


def _set_apart(number: str, words: MessageCatalog) -> str:
    """Write a number, as Python does, with the language's own marks."""
    whole, point, rest = number.partition(".")
    if len(whole.lstrip("-")) > DIGITS_TOGETHER:
        whole = _THOUSANDS.sub(words.thousands, whole)
    return f"{whole}{words.decimal if point else ''}{rest}"


def sentence(
    words: MessageCatalog,
    alarm_id: str,
    priority: Priority,
    wording: str,
    facts: Mapping[str, Any],
) -> str:
    """Say an alarm in one sentence.

    Args:
        words: the language.
        alarm_id: `o2-low`; an instance, `sensor-stale/bunk-o2`, is said as its kind.
        priority: as it stands now.
        wording: the rule's own case, '' where it has but one.
        facts: numbers with units in their keys, and names; any may be missing.

    Returns:
        At most `LONGEST` characters, never empty, whatever is handed in.
    """
    alarm, _, subject = alarm_id.partition("/")
    given = _given(words, alarm, subject, facts)
    fill = _Facts(words)
    for variant in _variants(words, alarm, priority, wording):
        try:
            said = _SPACES.sub(" ", fill.vformat(variant, (), given)).strip()
        except (KeyError, ValueError, IndexError, TypeError):
            continue
        if 0 < len(said) <= LONGEST:
            return unbroken(said[0].upper() + said[1:])
    # Only a message file without a bare variant comes here: better these than none.
    bare = f"{_line(alarm) or 'alarm'} ({priority.word})"
    return bare[:LONGEST]


def unbroken(text: str) -> str:
    """Keep each number and its unit on one line."""
    return _BREAKS.sub(lambda found: (found[1] or "") + NO_BREAK, text)


def without_act(text: str) -> str:
    """Return a sentence without the order that ends it; one without it as it is."""
    return _ACT.sub("", text)


def act_of(text: str) -> str:
    """Return the order that ends a sentence; '' where it has none."""
    found = _ACT.search(text)
    return "" if found is None else found[0].strip()


def _variants(
    words: MessageCatalog, alarm: str, priority: Priority, wording: str
) -> Iterator[str]:
    for table in (words.alarms.get(alarm, {}), words.alarms.get(GENERAL, {})):
        for case in (f"{wording}-{priority.word}", wording, priority.word, "any"):
            yield from table.get(case, ())


def _given(
    words: MessageCatalog, alarm: str, subject: str, facts: Mapping[str, Any]
) -> dict[str, float | str]:
    """Keep the facts that can be said, and make the rest of them."""
    given: dict[str, float | str] = {"alarm": _line(alarm)}
    if subject:
        given["part"] = _line(subject)
        given["source"] = _term(words, subject)
    for key in FACTS & facts.keys():
        value = facts[key]
        if key == "unit" and isinstance(value, str):
            given[key] = _line(value)
        elif isinstance(value, str) and value.strip():
            given[key] = _term(words, value)
        elif _is_number(value):
            given[key] = as_said(key, float(value))
    given.update(_made(words, given))
    return given


def as_said(key: str, value: float) -> float:
    """Round a fact to what a person takes in, and no sensor knows better.

    CO2 to hundreds of ppm, thousands from 10 000; CO to 1 ppm, 5 from 100, 100 from
    1 000.  The evidence beside the sentence keeps every figure.
    """
    size = abs(value)
    if key == "co2_ppm":
        step = 100.0 if size < 10_000.0 else 1000.0
    elif key == "co_ppm":
        step = 1.0 if size < 100.0 else 5.0 if size < 1000.0 else 100.0
    else:
        return value
    return round(value / step) * step


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) < 1e9 and math.isfinite(value)


def _line(text: str) -> str:
    """Keep a text to one line of printable characters."""
    return "".join(one if one.isprintable() else " " for one in text).strip()


def _term(words: MessageCatalog, text: str) -> str:
    line = _line(text)
    return words.terms.get(line, line)


def _made(
    words: MessageCatalog, given: Mapping[str, float | str]
) -> Iterator[tuple[str, float | str]]:
    rate = given.get("rate_pct_per_h")
    if isinstance(rate, float) and abs(rate) >= STEADY_PCT_PER_H:
        yield ("fall_pct_per_h" if rate < 0.0 else "rise_pct_per_h"), abs(rate)
    minutes, hours, seconds = (given.get(k) for k in ("minutes", "hours", "seconds"))
    if isinstance(minutes, float) and minutes >= 0.0:
        # A forecast is never known to the second, nor over while it is told.
        yield "minutes_text", span(words, 60.0 * whole_minutes(minutes))
    if isinstance(hours, float) and hours >= 0.0:
        yield "hours_text", span(words, 60.0 * max(1, round(60.0 * hours)))
    if isinstance(seconds, float) and seconds >= 0.0:
        yield "seconds_text", span(words, seconds)
    value, unit = given.get("value"), given.get("unit")
    if isinstance(value, float) and isinstance(unit, str):
        yield "value_text", _of_unit(words, value, unit)
    apart = given.get("apart")
    if isinstance(apart, float) and isinstance(unit, str):
        yield "apart_text", _of_unit(words, apart, unit, apart=True)
    for fact, made, ours, decimals in _IN_UNITS:
        found = given.get(fact)
        if isinstance(found, float):
            number = words.units.number(ours, found, decimals).replace(",", "")
            sign = _term(words, words.units.sign(ours))
            yield made, f"{_set_apart(number, words)} {sign}"


def _of_unit(
    words: MessageCatalog, value: float, sign: str, *, apart: bool = False
) -> str:
    """Say a value whose unit a rule names, or the difference of two."""
    told, sign = words.units.of_sign(sign, value, apart=apart)
    return f"{_set_apart(compact(told), words)} {_term(words, sign)}".strip()


def span(words: MessageCatalog, seconds: float) -> str:
    """Say a length of time in the unit that people would choose."""
    count, unit = spoken(seconds)
    one, many = words.spans[unit]
    form = one if count < words.plural_from else many
    return form.replace("{n}", _set_apart(compact(count), words))


def fields_of(variant: str) -> tuple[str, ...]:
    """Return the names of the facts that a variant needs.

    Raises:
        ValueError: it is no sentence with plain fields.
    """
    names = []
    try:
        fields = list(string.Formatter().parse(variant))
    except ValueError:
        raise ValueError("a { or } of a field has no partner") from None
    for _, name, spec, conversion in fields:
        if name is None:
            continue
        if conversion or "{" in (spec or ""):
            raise ValueError(f"the field {name!r} may have a format only, like :.1f")
        if name not in FACTS | MADE:
            raise ValueError(f"the fact {name!r} is not known")
        if any(int(number) > WIDEST for number in re.findall(r"\d+", spec or "")):
            raise ValueError(f"the field {name!r} is wider than {WIDEST} characters")
        try:
            format(1.0 if spec else "", spec or "")
        except ValueError:
            raise ValueError(
                f"the field {name!r} has an unknown format, {spec!r}"
            ) from None
        names.append(name)
    return tuple(names)
