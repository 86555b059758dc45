"""Every sentence of a message file, filled: for the tests that read them all."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.sentences import (
    NO_BREAK,
    MessageCatalog,
    fields_of,
    sentence,
)
from cabinvigil.daemon.settings.words import languages, load_words

ALL = {language: load_words(language) for language in languages()}
EN = ALL["en"]

WIDEST: Mapping[str, Any] = {
    # The widest that parts and rules can give: ends of the physical ranges
    # (drivers/kit/quantity.py), names as long as the config allows.
    "o2_pct": 18.85,
    "rate_pct_per_h": -99.94,
    "settles_pct": 10.04,
    "co_ppm": 5000.0,
    "cohb_pct": 99.9,
    "co2_ppm": 200_000.0,
    "gas_lel_pct": 100.0,
    "temp_c": -60.04,
    "rh_pct": 120.0,
    "dew_point_c": -60.04,
    "surface_c": -60.04,
    "supply_v": 36.0,
    "charge_pct": 15.0,
    "pm2_5_ugm3": 3000.0,
    "minutes": 89.0,
    "hours": 23.0,
    "seconds": 5340.0,
    "limit": 30_000.0,
    "value": 200_000.0,
    "apart": 200_000.0,
    "part": "a" * 24,
    "other": "b" * 24,
    "place": "ceiling",
    "source": "state",
    "o2_hpa": 144.4,
    "height_m": 5500.0,
    "unit": "µg/m³",
    "text": "oxygen partial pressure",
}
GASES: Mapping[str, tuple[str, ...]] = {
    "oxygen": ("o2-low", "o2-projected", "o2-falling", "o2-high", "o2-pressure"),
    "carbon monoxide": ("co-level", "co-dose"),
    "carbon dioxide": ("co2-level", "co2-projected"),
    "unburnt gas": ("gas-leak",),
    "unknown gas": ("displaced-air",),
}
"""The alarms on each gas."""
DANGERS = (*(alarm for alarms in GASES.values() for alarm in alarms), "hot")
ROOM_FOR_THE_MOMENT = 20
""" ' (02:14, 12 min late)': what a late alert adds to its sentence, about."""

WEIGHTS = {
    **dict.fromkeys(("o2-low", "gas-leak", "displaced-air"), "high"),
    **dict.fromkeys(("contact-smoke", "contact-gas", "contact-co"), "high"),
    **dict.fromkeys(("o2-projected", "o2-falling", "o2-high", "hot"), "medium"),
    "o2-pressure": "medium",
    **dict.fromkeys(("co-level", "co-dose", "co2-level", "co2-projected"), "medium"),
    **dict.fromkeys(("fine-dust", "condensing", "cold"), "low"),
    "contact-bilge": "medium",
}
"""The priority of an alarm whose case names none (config/limits.toml)."""


def variants(words: MessageCatalog) -> Iterator[tuple[str, str, int, str]]:
    for alarm, table in words.alarms.items():
        for case, lines in table.items():
            for index, line in enumerate(lines):
                yield alarm, case, index, line


def weight_of(alarm: str, case: str) -> str:
    """Return the priority that a case is said with; '' for a fault and for news."""
    for word in ("high", "medium", "low"):
        if case == word or case.endswith(f"-{word}"):
            return word
    if case in ("alone", "unheard"):
        return "medium"
    if case == "after":
        return "high"  # what the blood holds is past its danger when the air is not
    return WEIGHTS.get(alarm, "")


def filled(words: MessageCatalog, alarm: str, line: str, **facts: Any) -> str:
    """Fill one variant, by way of words that have no other; with plain spaces."""
    one = replace(words, alarms={alarm: {"any": (line,)}})
    said = sentence(one, alarm, Priority.HIGH, "", {**WIDEST, **facts})
    return said.replace(NO_BREAK, " ")


def every_sentence(
    words: MessageCatalog, *, is_fullest: bool = False, **facts: Any
) -> Iterator[tuple[str, str]]:
    """Yield every sentence of a language, with usual numbers in it.

    Args:
        words: the language.
        is_fullest: only the first of each case's variants.
        facts: in place of the usual ones.

    Yields:
        (alarm, sentence)
    """
    usual = {
        "part": "bunk-o2",
        "other": "roof-o2",
        "value": 1.2,
        "apart": 1.2,
        "unit": "%",
        "text": "oxygen",
        "minutes": 12.0,
        "hours": 1.5,
        "seconds": 150.0,
        "rate_pct_per_h": -2.1,
        "limit": 19.5,
        "o2_pct": 20.1,
    }
    for alarm, _, index, line in variants(words):
        if line == "{text}" or (is_fullest and index):
            continue  # a rule's own sentence
        both = {**usual, **facts}
        if "rise_pct_per_h" in fields_of(line):
            both["rate_pct_per_h"] = 2.1
        yield alarm, filled(words, alarm, line, **both)


PLAUSIBLE: Mapping[str, Any] = {
    # The longest that a cabin may really come to, in sensors named for their place.
    "part": "bunk-co-standard",
    "value": 5000.0,
    "unit": "ppm",
    "seconds": 300.0,
    "hours": 8.0,
    "minutes": 22.0,
    "o2_pct": 19.5,
    "co_ppm": 1250.0,
    "co2_ppm": 40_000.0,
    "gas_lel_pct": 100.0,
    "cohb_pct": 45.0,
    "height_m": 5500.0,
    "temp_c": 48.0,
    "supply_v": 11.4,
    "charge_pct": 15.0,
}


def waking_sentences(words: MessageCatalog) -> Iterator[str]:
    """Yield each case's fullest sentence that wakes people, at its longest.

    Args:
        words: the language, in the units that it is to be said in.

    Yields:
        What is said, and shown.
    """
    for alarm, case, index, line in variants(words):
        wakes = weight_of(alarm, case) in ("high", "medium") or alarm == "supply-low"
        if index or not wakes:
            continue
        text = "carbon monoxide alarm" if case == "unheard" else "carbon monoxide"
        yield filled(words, alarm, line, **PLAUSIBLE, text=text)
