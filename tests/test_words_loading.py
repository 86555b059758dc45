"""A message file is read whole, or refused with every mistake in it."""

from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.settings_known import packaged
from cabinvigil.daemon.settings_mistakes import ConfigError
from cabinvigil.daemon.words_loading import languages, load_words, renderer

GOOD = """
language = "it"
decimal = ","
[spans]
second = ["{n} secondo", "{n} secondi"]
minute = ["{n} minuto", "{n} minuti"]
hour = ["{n} ora", "{n} ore"]
[general]
high = ["Pericolo in cabina. Uscite subito."]
[o2-low]
any = ["Poco ossigeno: {o2_pct:.1f} %. Aprite la porta.",
    "Poco ossigeno. Aprite la porta."]
"""


def mistakes(tmp_path: Path, text: str) -> dict[str, str]:
    file = tmp_path / "words_it.toml"
    file.write_text(text)
    with pytest.raises(ConfigError) as caught:
        load_words(path=file)
    return {one.key: str(one) for one in caught.value.mistakes}


def test_the_languages_are_the_files_that_ship() -> None:
    """Another language is one file more, and nothing else."""
    assert languages() == ("de", "en", "fr")
    for language in languages():
        assert load_words(language).language == language


def test_a_file_of_ones_own_serves_as_it_stands(tmp_path: Path) -> None:
    """Its sentences, its decimal sign; what it does not name is told in general."""
    file = tmp_path / "words_it.toml"
    file.write_text(GOOD)
    render = renderer(path=file)
    assert render("o2-low", Priority.HIGH, "", {"o2_pct": 19.42}) == (
        "Poco ossigeno: 19,4 %. Aprite la porta."
    )
    assert render("gas-leak", Priority.HIGH, "", {}) == (
        "Pericolo in cabina. Uscite subito."
    )


def test_the_renderer_is_what_the_core_asks_for() -> None:
    """English where nothing else is said."""
    assert renderer()("hot", Priority.MEDIUM, "", {"temp_c": 36.04}) == (
        "Too hot: 36.0 °C at the bunk. Turn the heater off now."
    )


@pytest.mark.parametrize(
    ("old", "new", "key", "word"),
    [
        ('language = "it"', "", "language", "missing"),
        ('decimal = ","', "decimal = 1", "decimal", "no text"),
        ('["{n} ora", "{n} ore"]', '["{n} ora"]', "spans.hour", "two forms"),
        ('["{n} ora", "{n} ore"]', '["ora", "ore"]', "spans.hour", "two forms"),
        ("[general]", "[generale]", "general", "words_en.toml"),
        ("[general]", "[terms]\nV = 1\n[general]", "terms.V", "no text"),
        ("[spans]", "terms = 1\n[spans]", "terms", "no table"),
        ("[spans]", "o2 = 1\n[spans]", "o2", "no table"),
        ("{o2_pct:.1f}", "{o3_pct:.1f}", "o2-low.any[0]", "o3_pct"),
        ("{o2_pct:.1f}", "{o2_pct!r}", "o2-low.any[0]", "format only"),
        ("{o2_pct:.1f}", "{o2_pct:.1f", "o2-low.any[0]", "cannot be filled"),
        ("ossigeno. A", "ossigeno {part}. A", "o2-low.any", "may be missing"),
        ("ossigeno. A", f"ossigeno {'o' * 120}. A", "o2-low.any", "140 at most"),
        ('["Pericolo in cabina. Uscite subito."]', "[]", "general.high", "no list"),
        ('["Pericolo in cabina. Uscite subito."]', "[1]", "general.high", "no list"),
        ('["Pericolo in cabina. Uscite subito."]', '"x"', "general.high", "no list"),
    ],
)
def test_each_mistake_of_a_message_file_is_one_sentence(
    tmp_path: Path, old: str, new: str, key: str, word: str
) -> None:
    """Told when the config is read, not in the night when the alarm is due."""
    assert GOOD.count(old) == 1
    told = mistakes(tmp_path, GOOD.replace(old, new))
    assert word in told[key]
    assert told[key].endswith(".")


def test_all_mistakes_of_a_message_file_at_once(tmp_path: Path) -> None:
    """As with a config."""
    text = GOOD.replace('decimal = ","', "").replace("{o2_pct:.1f}", "{x}")
    assert mistakes(tmp_path, text).keys() == {"decimal", "o2-low.any[0]"}


def test_a_language_that_does_not_ship() -> None:
    """The known ones are listed, and the way to one's own."""
    with pytest.raises(ConfigError) as caught:
        load_words("xx")
    assert "de, en, fr" in str(caught.value)


def test_the_packaged_files_are_whole() -> None:
    """Each ships with the package, in UTF-8."""
    for language in languages():
        assert packaged(f"words_{language}.toml").read_bytes().decode("utf-8")
