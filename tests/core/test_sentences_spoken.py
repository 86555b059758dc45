"""Spoken by espeak-ng, every English sentence says what it shows, and soon.

The judge is Debian's espeak-ng, a text-to-speech engine that knows nothing of us: a
sentence with its symbols must sound as the one with the symbols spelled out by hand.
"""

import re
import shutil
import subprocess
import wave
from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.core.sentences import LONGEST, NO_BREAK, unbroken
from cabinvigil.daemon.text.units_said import SI, US, Units
from tests.tools.sentences import (
    ALL,
    DANGERS,
    EN,
    ROOM_FOR_THE_MOMENT,
    every_sentence,
    waking_sentences,
)

SPELLED = {"%": "percent", "°C": "degrees C", "ppm": "P P M"}
"""The only symbols that a sentence may show, and how a person reads them aloud."""
PLAIN = re.compile(r"[A-Za-z0-9 .,:'()-]+")
"""What is left when they are spelled out: letters, numbers, and marks of a pause."""
ENGINE = "espeak-ng"
VOICES = {"en": "en", "de": "de", "fr": "fr-fr"}
WORDS_A_MINUTE = 150
"""Slower than the engine's own 175: read to somebody who wakes (our choice)."""
USUAL = 175
"""The engine's own speed (its manual page)."""
LONGEST_S = 9.0
"""A danger is spoken in so long (our choice)."""


def phonemes(lines: list[str]) -> list[str]:
    """Ask the engine once for all lines; stress, pauses and word gaps do not count."""
    if shutil.which(ENGINE) is None:
        pytest.fail(f"{ENGINE} is missing: apt-get install {ENGINE}")
    # A lone word between sentences keeps them apart in the engine's stream of clauses.
    text = "\n\n".join(f"{line}\n\nzebra." for line in lines)
    run = subprocess.run(
        [ENGINE, "-q", "-x", "-v", "en", "--stdin"],
        input=text,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    bare = re.sub(r"[\s',;_|=%#-]", "", run.stdout)
    apart = re.sub(r"[\s',;_|=%#-]", "", _one("zebra."))
    return bare.split(apart)[:-1]


def _one(word: str) -> str:
    run = subprocess.run(
        [ENGINE, "-q", "-x", "-v", "en", word],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return run.stdout


def spell(line: str) -> str:
    for symbol, words in SPELLED.items():
        line = line.replace(symbol, words)
    return line


def test_every_english_sentence_is_spoken_as_it_is_meant() -> None:
    """No symbol is read as its name, swallowed, or spelled letter by letter."""
    facts = {"part": "roof sensor", "other": "bunk sensor", "source": "log"}
    lines = [line for _, line in every_sentence(EN, **facts)]
    lines += [line for _, line in every_sentence(EN, **facts, unit="µg/m³")]
    lines += [line for _, line in every_sentence(EN, **facts, unit="V", o2_pct=9.0)]
    lines = sorted(set(lines))
    assert len(lines) > 100
    for line in lines:
        assert PLAIN.fullmatch(spell(line)), line
    said, meant = phonemes(lines), phonemes([spell(line) for line in lines])
    assert len(said) == len(meant) == len(lines)
    for line, one, other in zip(lines, said, meant, strict=True):
        assert one == other, line


@pytest.mark.parametrize("language", sorted(VOICES))
def test_a_danger_is_spoken_in_nine_seconds(language: str, tmp_path: Path) -> None:
    """Read aloud in its language, with the numbers of a bad night."""
    assert VOICES.keys() == ALL.keys()
    numbers = {"co_ppm": 250.0, "co2_ppm": 31_000.0, "gas_lel_pct": 20.0, "hours": 8.0}
    lines = dict.fromkeys(
        said
        for alarm, said in every_sentence(
            ALL[language], is_fullest=True, temp_c=36.0, **numbers
        )
        if alarm in DANGERS
    )
    for said in lines:
        length_s = spoken_s(said, VOICES[language], tmp_path / "said.wav")
        assert length_s <= LONGEST_S, (length_s, said)


@pytest.mark.parametrize("language", sorted(VOICES))
def test_a_silence_is_spoken_in_nine_seconds(language: str, tmp_path: Path) -> None:
    """Of one cabin, without what is known of the cause."""
    forms = ALL[language].silence
    since = forms["since"].format(moment="23:42")
    for kind in ("silent", "again"):
        line = forms[kind].format(cabin="Lapwing", since=since)
        assert len(line) <= LONGEST - ROOM_FOR_THE_MOMENT, line
        length_s = spoken_s(line, VOICES[language], tmp_path / "said.wav")
        assert length_s <= LONGEST_S, (length_s, line)


@pytest.mark.parametrize("units", [SI, US], ids=["si", "us"])
@pytest.mark.parametrize("language", sorted(VOICES))
def test_what_wakes_people_is_short(
    language: str, units: Units, tmp_path: Path
) -> None:
    """Every sentence, at its longest: 120 characters, nine seconds at usual speed."""
    said = list(waking_sentences(replace(ALL[language], units=units)))
    assert len(said) > 40
    for line in said:
        assert len(line) <= LONGEST - ROOM_FOR_THE_MOMENT, line
        length_s = spoken_s(line, VOICES[language], tmp_path / "said.wav", USUAL)
        assert length_s <= LONGEST_S, (length_s, line)


def spoken_s(
    line: str, voice: str, file: Path, words_a_minute: int = WORDS_A_MINUTE
) -> float:
    """Return how long the engine speaks a line, in seconds."""
    subprocess.run(
        [ENGINE, "-s", str(words_a_minute), "-v", voice, "-w", str(file), line],
        check=True,
        timeout=60,
    )
    with wave.open(str(file)) as sound:
        return sound.getnframes() / sound.getframerate()


def test_a_no_break_space_is_no_sound() -> None:
    """A number and its unit sound as with a plain space between them."""
    line = "Too little oxygen in 12 minutes: still 20.1 %."
    assert unbroken(line).count(NO_BREAK) == 2
    kept, plain = phonemes([unbroken(line), line])
    assert kept == plain


def test_numbers_are_spoken_as_numbers() -> None:
    """A sentence and its number in words sound alike (worked by hand)."""
    pairs = [
        ("Oxygen low: 19.4 percent.", "Oxygen low: nineteen point four percent."),
        ("Cold: -9.5 degrees.", "Cold: minus nine point five degrees."),
        ("It is 30000 today.", "It is thirty thousand today."),
        ("It is 30,000 today.", "It is thirty thousand today."),
    ]
    said = phonemes([line for pair in pairs for line in pair])
    for index, pair in enumerate(pairs):
        assert said[2 * index] == said[2 * index + 1], pair


def test_the_judge_hears_what_it_should_refuse() -> None:
    """The comparison can fail: these symbols are read by name, or letter by letter."""
    for shown, meant in (
        ("35 µg/m³", "35 micrograms per cubic metre"),
        ("9 V", "9 volts"),
    ):
        one, other = phonemes([shown, meant])
        assert one != other
