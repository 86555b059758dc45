"""What is to be checked in a message file of a person's own."""

from pathlib import Path

import pytest

from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.daemon.settings.word_doubts import word_doubts
from cabinvigil.daemon.settings.words import languages, load_words

GERMAN = packaged("words_de.toml").read_text(encoding="utf-8")
OUTSIDE = "Sofort alle ins Freie."


def doubts(tmp_path: Path, text: str, language: str = "de") -> list[str]:
    file = tmp_path / "own.toml"
    file.write_text(text, encoding="utf-8")
    own = load_words(path=file)
    return list(word_doubts(own, "own.toml", language, example().alarms))


@pytest.mark.parametrize("language", languages())
def test_the_packaged_sentences_are_beyond_doubt(tmp_path: Path, language: str) -> None:
    """Whoever begins with a copy of one is told nothing."""
    text = packaged(f"words_{language}.toml").read_text(encoding="utf-8")
    assert doubts(tmp_path, text, language) == []


def test_a_misspelt_alarm_is_named_and_what_speaks_in_its_place(tmp_path: Path) -> None:
    """Its sentence would never be said, and nobody would learn of it."""
    text = GERMAN.replace("[o2-falling]", "[o2-faling]")
    stray, missing = doubts(tmp_path, text)
    assert "[o2-faling] names no alarm" in stray
    assert "write [o2-falling] if that was meant" in stray
    assert "no sentence for o2-falling (1 of" in missing
    assert "[general] speaks for them" in missing


def test_two_languages_are_told(tmp_path: Path) -> None:
    """The file says one, the config another."""
    (told, *_) = doubts(tmp_path, GERMAN, "fr")
    assert "says language 'de', the config says 'fr'" in told


def test_a_danger_that_does_not_send_people_out_is_told(tmp_path: Path) -> None:
    """The words would contradict the sound."""
    at = GERMAN.index("[o2-low]")
    text = GERMAN[:at] + GERMAN[at:].replace(OUTSIDE, "Weiter schlafen.", 1)
    (told,) = doubts(tmp_path, text)
    assert "own.toml: o2-low." in told
    assert "end it with 'Sofort alle ins Freie'" in told


def test_a_sentence_that_takes_too_long_to_say_is_told(tmp_path: Path) -> None:
    """The last variant may have 140 characters, but nobody hears so much."""
    long = "Gefahr in der Kabine" + " und noch ein Wort" * 5 + f". {OUTSIDE}"
    text = GERMAN.replace(f"Gefahr in der Kabine. {OUTSIDE}", long)
    (told,) = doubts(tmp_path, text)
    assert told == (
        f"own.toml: general.high has a sentence of {len(long)} characters: 120 at most."
    )
