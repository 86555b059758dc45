"""Read a message file into words, and make the core's renderer of it."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from importlib import resources
from pathlib import Path
from string import Formatter
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.sentences import (
    LONGEST,
    PLURAL_FROM,
    YES,
    MessageCatalog,
    fields_of,
    sentence,
)
from cabinvigil.daemon.core.setup import Render
from cabinvigil.daemon.settings.errors import (
    ConfigError,
    Mistake,
    listed,
    one_line,
    shown,
)
from cabinvigil.daemon.settings.read import parse_toml, read_bytes
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.daemon.text.units_said import SI, Units

_SPANS = ("second", "minute", "hour")
_OWN = (
    "language",
    "decimal",
    "thousands",
    "yes",
    "plural_from",
    "spans",
    "terms",
    "phone",
    "silence",
)
DECIMALS = (".", ",", "٫")
"""Decimal signs (Unicode CLDR; from memory)."""
_PHONE: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "fresh": frozenset({"text", "moment"}),
        "late": frozenset({"text", "moment", "age"}),
        "second": frozenset({"text", "cabin"}),
        "second_news": frozenset({"text", "cabin"}),
        "rehearsal": frozenset({"text"}),
    }
)
"""The forms of an alert on the phone, each with what it tells."""
_SILENCE: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "since": frozenset({"moment"}),
        "last": frozenset({"moment"}),
        "silent": frozenset({"cabin", "since"}),
        "again": frozenset({"cabin", "since"}),
        "stopped": frozenset({"cabin", "last"}),
        "back": frozenset({"cabin"}),
        "back_after": frozenset({"cabin", "span"}),
        "back_after_silence": frozenset({"cabin", "span"}),
        "rehearsed": frozenset({"cabin"}),
        "unresolved": frozenset({"text", "alarms"}),
        "broker": frozenset({"text", "where"}),
        "bridge": frozenset({"text"}),
        "lost": frozenset({"text"}),
        "cabins": frozenset({"count"}),
        "more": frozenset({"names", "count"}),
        "silent_many": frozenset({"count", "names"}),
        "again_many": frozenset({"count", "names"}),
        "stopped_many": frozenset({"count", "names"}),
        "back_many": frozenset({"count", "names"}),
        "rehearsed_many": frozenset({"count", "names"}),
        "unreachable": frozenset({"name", "why"}),
        "reachable": frozenset({"name"}),
        "queue": frozenset({"path", "why"}),
        "queue_well": frozenset(),
        "own_title": frozenset(),
        "perhaps": frozenset({"title"}),
        "test": frozenset(),
    }
)
"""What the phone service says itself, each with what it tells."""


def languages() -> tuple[str, ...]:
    """Return the codes of the languages that ship, by their files."""
    names = [entry.name for entry in resources.files("cabinvigil.config").iterdir()]
    return tuple(
        sorted(
            name.removeprefix("words_").removesuffix(".toml")
            for name in names
            if name.startswith("words_") and name.endswith(".toml")
        )
    )


def load_words(language: str = "en", path: str | Path | None = None) -> MessageCatalog:
    """Read the words of a language.

    Args:
        language: the code of one that ships.
        path: a message file of a person's own, in its place.

    Raises:
        ConfigError: no such language, or the file's mistakes, all of them.
    """
    if path is not None:
        name = one_line(str(path))
        return _words(parse_toml(read_bytes(Path(path), name), name), name)
    if language not in languages():
        what = f"has no language {shown(language)}"
        mend = f"choose one of {listed(languages())}, or name a file with `words`"
        raise ConfigError([Mistake("the package", "", what, mend)])
    name = f"words_{language}.toml"
    return _words(parse_toml(packaged(name).read_bytes(), name), name)


def renderer(
    language: str = "en", path: str | Path | None = None, units: Units = SI
) -> Render:
    """Make what the core asks for an alarm's sentence.

    Args:
        language: as `load_words`.
        path: as `load_words`.
        units: in which numbers are said.

    Raises:
        ConfigError: as `load_words`.
    """
    return partial(_render, replace(load_words(language, path), units=units))


def _render(
    words: MessageCatalog,
    alarm: str,
    priority: Priority,
    wording: str,
    facts: Mapping[str, float | str],
) -> str:
    return sentence(words, alarm, priority, wording, facts)


def _words(plain: Mapping[str, Any], file: str) -> MessageCatalog:
    mistakes: list[Mistake] = []

    def wrong(key: str, what: str, mend: str) -> None:
        mistakes.append(Mistake(file, one_line(key)[:80], what, mend))

    for key in ("language", "decimal"):
        if not isinstance(plain.get(key), str):
            wrong(key, "is missing or not a text", f'write `{key} = "..."`')
    if (mark := plain.get("decimal")) not in DECIMALS and isinstance(mark, str):
        # Without one 20.5 would be read as 205.
        wrong("decimal", f"is {shown(mark)}", f"write one of {listed(DECIMALS)}")
    alarms = {
        key: _alarm(key, table, wrong)
        for key, table in plain.items()
        if key not in _OWN
    }
    if "general" not in alarms:
        named = plain.get("language")
        code = named if named in languages() else "en"
        mend = f"copy [general] from what `cabinvigil config --words {code}` prints"
        mend += "" if code == named else ", and translate it"
        wrong("general", "is missing", mend)
    words = MessageCatalog(
        language=str(plain.get("language")),
        decimal=str(plain.get("decimal")),
        thousands=_thousands(plain.get("thousands", ""), wrong),
        spans=_spans(plain.get("spans"), wrong),
        terms=_terms(plain.get("terms", {}), wrong),
        alarms=alarms,
        plural_from=_plural_from(plain, wrong),
        phone=_forms("phone", _PHONE, plain.get("phone", {}), wrong),
        silence=_forms("silence", _SILENCE, plain.get("silence", {}), wrong),
        yes=_yes(plain.get("yes", list(YES)), wrong),
    )
    if mistakes:
        raise ConfigError(mistakes)
    return words


Tell = Callable[[str, str, str], None]
"""Takes a key, what is wrong with it, and how to mend it."""


def _alarm(key: str, table: Any, wrong: Tell) -> Mapping[str, tuple[str, ...]]:
    if not isinstance(table, Mapping):
        wrong(key, "is not a table", f"write [{one_line(key)[:40]}] with its cases")
        return {}
    return {
        str(case): _variants(f"{key}.{case}", variants, wrong)
        for case, variants in table.items()
    }


def _variants(key: str, variants: Any, wrong: Tell) -> tuple[str, ...]:
    if (
        not isinstance(variants, list)
        or not variants
        or not all(isinstance(one, str) for one in variants)
    ):
        mend = 'write ["the fullest sentence", "the barest sentence"]'
        wrong(key, "is not a list of sentences", mend)
        return ()
    needed: tuple[str, ...] = ()
    for index, variant in enumerate(variants):
        try:
            needed = fields_of(variant)
        except ValueError as error:
            known = "use the facts that words_en.toml uses, like {o2_pct:.1f}"
            wrong(
                f"{key}[{index}]", f"cannot be filled ({one_line(str(error))})", known
            )
    if needed:
        mend = "add a last sentence without any {fact}"
        wrong(key, "needs a fact in its last sentence, which may be missing", mend)
    if len(variants[-1]) > LONGEST:
        mend = f"use {LONGEST} at most"
        wrong(key, f"has a last sentence of {len(variants[-1])} characters", mend)
    return tuple(variants)


def _plural_from(plain: Mapping[str, Any], wrong: Tell) -> float:
    value = plain.get("plural_from", PLURAL_FROM)
    if isinstance(value, bool) or not isinstance(value, int | float) or not value > 1:
        mend = "write the least number in the plural, or leave it out"
        wrong("plural_from", "is not a number above 1", mend)
        return PLURAL_FROM
    return float(value)


def _thousands(mark: Any, wrong: Tell) -> str:
    """Read the mark between thousands; a file without one leaves them together."""
    if isinstance(mark, str) and len(mark) <= 1 and not mark.isalnum():
        return mark
    wrong("thousands", "is not a mark", 'write one character, like `thousands = ","`')
    return ""


def _spans(table: Any, wrong: Tell) -> dict[str, tuple[str, str]]:
    found: dict[str, tuple[str, str]] = {}
    for unit in _SPANS:
        forms = table.get(unit) if isinstance(table, Mapping) else None
        if (
            isinstance(forms, list)
            and len(forms) == 2
            and all(isinstance(form, str) and "{n}" in form for form in forms)
        ):
            found[unit] = (forms[0], forms[1])
        else:
            mend = f'write `{unit} = ["{{n}} ...", "{{n}} ..."]`, one and many'
            wrong(f"spans.{unit}", "is missing, or not two forms with {n}", mend)
    return found


def _forms(
    section: str, known: Mapping[str, frozenset[str]], table: Any, wrong: Tell
) -> dict[str, str]:
    """Read the forms of messages; those that are missing are said in English."""
    if not isinstance(table, Mapping):
        wrong(section, "is not a table", f"write [{section}]")
        return {}
    found: dict[str, str] = {}
    for name, form in table.items():
        wanted = known.get(name, frozenset())
        try:
            is_fit = {part[1] for part in Formatter().parse(form) if part[1]} == wanted
            form.format_map(dict.fromkeys(wanted, ""))
        except (TypeError, ValueError, LookupError, AttributeError):
            is_fit = False
        if name in known and is_fit:
            found[name] = form
        else:
            facts = " ".join(f"{{{one}}}" for one in sorted(wanted))
            mend = f"write a text with {facts}" if facts else "write a text"
            mend = mend if name in known else f"use {listed(known)}"
            wrong(f"{section}.{name}", "is not a form of a message", mend)
    return found


def _yes(words: Any, wrong: Tell) -> tuple[str, ...]:
    """Read what counts as a yes; a file that names nothing leaves the English ones."""
    is_fit = isinstance(words, list) and all(
        isinstance(word, str) and word.strip() for word in words
    )
    if not is_fit or not words:
        wrong("yes", "is not a list of words", 'write `yes = ["yes", "y"]`')
        return YES
    return tuple(word.strip().casefold() for word in words)


def _terms(table: Any, wrong: Tell) -> dict[str, str]:
    if not isinstance(table, Mapping):
        wrong("terms", "is not a table", "write [terms]")
        return {}
    for term, said in table.items():
        if not isinstance(said, str):
            wrong(f"terms.{term}", "is not a text", "write it in double quotes")
    return {str(term): str(said) for term, said in table.items()}
