"""One thing has one name in each language of the message files."""

import re

import pytest

from cabinvigil.daemon.settings.registries import packaged
from tests.tools.sentences import ALL

RETIRED = {
    # Words that stood for one thing in two ways, and the one that is left.
    "en": {
        r"ring(s|ing)?|rang": "sound",
        r"(?<!no one )answer(s|ed)?": "acknowledge, respond",
        r"buzzer": "sounder",
        r"watch|guard": "monitor",
        r"elsewhere|shore": "second phone",
        r"parts?(?! of)": "sensor",
        r"(?<!power )supply|laxer|at fault|told|tells?": "as DEVELOPERS.md has it",
        r"openings?|thumb": "vent",
        r"explosive limit": "explosion limit",
        r"gets? out": "get everyone outside",
    },
    "de": {
        r"Wache|Wächter|Monitor": "Überwachung",
        r"Summer|Sirene|Tongeber|Hupe": "Signalgeber",
        r"Telefon|Mobiltelefon": "Handy",
        r"Taste|Taster": "Knopf",
        r"Meldung(en)?": "Nachricht",
        r"Lüftung(en)?": "Lüftungsklappe",
        r"Decke": "Kabinendecke, Wolldecke",
        r"Fühler": "Sensor",
        r"reagiert nicht|quittiert": "antwortet nicht, bestätigt",
        r"Aufzeichnung": "Protokoll",
        r"Giftgas": "giftiges Gas",
        r"Prozent": "%",
        r"steht an|stehen an": "ist aktiv",
        r"klingelt|läutet|tönt": "schlägt Alarm, ertönt",
        r"Defekt|Fehler": "Störung",
        r"Heizgerät|Ofen": "Heizung",
        r"Logbuch|Log": "Protokoll",
    },
    "fr": {
        r"pour cent": "%",
        r"sirène|sonnerie|buzzer|vibreur": "avertisseur sonore",
        r"prises?": "fiche",
        r"pannes?": "défaut",
        r"portable|mobile": "téléphone",
        r"veille|moniteur|gardien": "surveillance",
        r"ventilations?": "aération",
        r"sondes?": "capteur",
        r"dioxyde de carbone": "gaz carbonique",
        r"pression de l'air": "pression atmosphérique",
        r"a répondu|confirmée?": "acquittée",
        r"poêle|radiateur": "chauffage",
        r"calibrage|calibré": "étalonnage",
        r"non surveillé": "non mesuré",
        r"maintenant": "tout de suite",
    },
}


def lines_of(language: str) -> list[str]:
    """List all that a message file says: sentences, terms, the phone's forms."""
    words = ALL[language]
    said = [
        line
        for table in words.alarms.values()
        for variants in table.values()
        for line in variants
    ]
    return [*said, *words.terms.values(), *words.phone.values()]


def retired(language: str, line: str) -> list[str]:
    """Return what a line has against its language's list."""
    plain = re.sub(r"\{[^}]*\}", "x", line)
    return [
        f"{hit[0]!r}: {instead}"
        for words, instead in RETIRED[language].items()
        for hit in re.finditer(rf"\b(?:{words})(?!\w)", plain, re.IGNORECASE)
    ]


@pytest.mark.parametrize("language", sorted(ALL))
def test_no_sentence_has_a_retired_word(language: str) -> None:
    found = [
        f"{line}: {bad}"
        for line in lines_of(language)
        if (bad := retired(language, line))
    ]
    assert not found, "\n".join(map(str, found))


@pytest.mark.parametrize("language", sorted(ALL))
def test_no_comment_of_the_english_file_has_one(language: str) -> None:
    """The comments say how a file is made; whoever translates reads them first."""
    text = packaged(f"words_{language}.toml").read_text(encoding="utf-8")
    for line in re.findall(r"^ *#(.*)$", text, re.MULTILINE):
        if "NOT CHECKED" not in line:
            assert retired(language, line) == []


@pytest.mark.parametrize(
    ("language", "line"),
    [
        ("en", "The smoke alarm rings. Get everyone outside now."),
        ("de", "Ein anderes Programm hat den Tongeber verstellt."),
        ("fr", "Vérifiez sa prise et son câble."),
    ],
)
def test_a_retired_word_is_seen(language: str, line: str) -> None:
    assert retired(language, line)
