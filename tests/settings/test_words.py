"""A message file is read whole, or refused with every mistake in it."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cabinvigil.daemon.core.mention import what
from cabinvigil.daemon.core.model import Alert, Priority
from cabinvigil.daemon.core.sentences import without_act
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import (
    SECOND_LONGEST,
    Forms,
    Messages,
    Pending,
    Topics,
)
from cabinvigil.daemon.service.outlets import forms_of
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.errors import ConfigError
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import languages, load_words, renderer
from tests.tools.sentences import DANGERS, every_sentence

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
        "Poco ossigeno: 19,4\u00a0%. Aprite la porta."
    )
    assert render("gas-leak", Priority.HIGH, "", {}) == (
        "Pericolo in cabina. Uscite subito."
    )


@pytest.mark.parametrize(
    ("language", "late", "second", "help_words", "whose"),
    [
        ("en", "min late)", "Call Lapwing now", "emergency number", "Lapwing:"),
        (
            "de",
            "min verspätet)",
            "Sofort in Kabine Lapwing anrufen",
            "Notruf 112",
            "Kabine Lapwing.",
        ),
        ("fr", "min de retard)", "Appelez vite Lapwing", "secours", "Cabine Lapwing."),
    ],
    ids=["en", "de", "fr"],
)
def test_an_alert_ends_in_the_language_of_its_sentence(
    language: str, late: str, second: str, help_words: str, whose: str
) -> None:
    """No half-English line at three in the morning."""
    settings = example()
    settings = replace(settings, watch=changed(settings.watch, language=language))
    forms = forms_of(settings)
    messages = Messages(Topics("lapwing"), "run", UTC, forms)
    told = Alert("o2-low", Priority.HIGH, "Luft.", 2)
    now = Stamp(720.0, datetime(2026, 1, 16, 23, 12, tzinfo=UTC))
    said = messages.alert(Pending(told, 3, 0.0), now).payload.decode()
    assert said.startswith(second)
    assert " Luft. " in said
    assert help_words in said
    assert "(23:00, 12\u00a0" in said
    assert said.endswith(late)
    news = replace(told, alarm="all-clear", priority=Priority.LOW)
    quiet = messages.alert(Pending(news, 4, 700.0), now).payload.decode()
    assert quiet == f"{whose} Luft. (23:11)"


@pytest.mark.parametrize(
    ("language", "begins"),
    [
        ("en", "Rehearsal, no alarm. Luft. ("),
        ("de", "Nur eine Übung, kein Alarm. Luft. ("),
        ("fr", "Exercice, pas d'alarme. Luft. ("),
    ],
)
def test_a_rehearsal_says_so_in_the_language(language: str, begins: str) -> None:
    """Who reads no English must not run out for invented air."""
    forms = Forms(**load_words(language).phone)
    messages = Messages(Topics("lapwing"), "run", UTC, forms, is_emulated=True)
    now = Stamp(5.0, datetime(2026, 1, 16, 23, 12, tzinfo=UTC))
    told = Pending(Alert("o2-low", Priority.HIGH, "Luft.", 1), 3, 0.0)
    assert messages.alert(told, now).payload.decode().startswith(begins)


def test_the_mark_between_thousands_is_one_mark(tmp_path: Path) -> None:
    """A file without one leaves digits together; a digit would be another number."""
    file = tmp_path / "words_it.toml"
    file.write_text(GOOD)
    assert load_words(path=file).thousands == ""
    for bad in ('"0"', '", "', "1"):
        found = mistakes(tmp_path, f"thousands = {bad}\n{GOOD}")
        assert "not a mark" in found["thousands"]


def test_a_file_without_forms_ends_its_alerts_in_english(tmp_path: Path) -> None:
    """Written before there were any: it serves on."""
    file = tmp_path / "words_it.toml"
    file.write_text(GOOD)
    settings = example()
    settings = replace(settings, watch=changed(settings.watch, words=str(file)))
    assert forms_of(settings) == Forms()


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(
    "cabin", ["lapwing", "the-long-name-of-a-far-away-trailer-no-7"]
)
def test_the_second_phones_line_is_one_glance(language: str, cabin: str) -> None:
    """At most 160 characters with its moment; the sleeper's act is not in it."""
    words = load_words(language)
    forms = Forms(**words.phone)
    for alarm, said in every_sentence(words):
        if alarm not in DANGERS:
            continue
        assert len(forms.fresh.format(text=said, moment="03:12")) <= 140
        told = Pending(Alert(alarm, Priority.HIGH, said, 2), 3, 0.0)
        messages = Messages(Topics(cabin), "run", UTC, forms)
        for age_s in (0.0, 720.0):
            now = Stamp(age_s, datetime(2026, 1, 16, 23, 12, tzinfo=UTC))
            line = messages.alert(told, now).payload.decode()
            assert len(line) <= SECOND_LONGEST, line
        act = said.removeprefix(without_act(said)).strip()
        assert act not in line
        assert what(said) in line


def test_a_yes_is_said_in_the_language(tmp_path: Path) -> None:
    """By the file; one without it takes the English."""
    assert {load_words(one).yes for one in languages()} == {
        ("yes", "y"),
        ("ja", "j"),
        ("oui", "o"),
    }
    file = tmp_path / "words_it.toml"
    file.write_text(GOOD)
    assert load_words(path=file).yes == ("yes", "y")
    for bad in ('"si"', "[]", '[""]', "[1]"):
        text = f"yes = {bad}\n{GOOD}"
        assert "not a list of words" in mistakes(tmp_path, text)["yes"]


def test_the_renderer_is_what_the_core_asks_for() -> None:
    """English where nothing else is said."""
    assert renderer()("hot", Priority.MEDIUM, "", {"temp_c": 36.04}) == (
        "Too hot at the bunk: 36\u00a0°C. Turn the heater off now."
    )


@pytest.mark.parametrize(
    ("old", "new", "key", "word"),
    [
        ('language = "it"', "", "language", "missing"),
        ('decimal = ","', "decimal = 1", "decimal", "not a text"),
        ('["{n} ora", "{n} ore"]', '["{n} ora"]', "spans.hour", "two forms"),
        ('decimal = ","', 'decimal = ""', "decimal", "write one of"),
        ('decimal = ","', 'decimal = "5"', "decimal", "write one of"),
        ('["{n} ora", "{n} ore"]', '["ora", "ore"]', "spans.hour", "two forms"),
        ("[spans]", "plural_from = 1\n[spans]", "plural_from", "above 1"),
        ("[spans]", "plural_from = true\n[spans]", "plural_from", "above 1"),
        ("[spans]", 'plural_from = "2"\n[spans]', "plural_from", "above 1"),
        ("[spans]", "plural_from = nan\n[spans]", "plural_from", "above 1"),
        ("[general]", "[generale]", "general", "config --words en"),
        ("[general]", "[terms]\nV = 1\n[general]", "terms.V", "not a text"),
        ("[spans]", "terms = 1\n[spans]", "terms", "not a table"),
        ("[spans]", "o2 = 1\n[spans]", "o2", "not a table"),
        ("{o2_pct:.1f}", "{o3_pct:.1f}", "o2-low.any[0]", "o3_pct"),
        ("{o2_pct:.1f}", "{o2_pct!r}", "o2-low.any[0]", "format only"),
        ("{o2_pct:.1f}", "{o2_pct:999999999.1f}", "o2-low.any[0]", "wider than 20"),
        ("{o2_pct:.1f}", "{o2_pct:.21f}", "o2-low.any[0]", "wider than 20"),
        ("{o2_pct:.1f}", "{o2_pct:.1f", "o2-low.any[0]", "cannot be filled"),
        ("ossigeno. A", "ossigeno {part}. A", "o2-low.any", "may be missing"),
        ("ossigeno. A", f"ossigeno {'o' * 120}. A", "o2-low.any", "140 at most"),
        ('["Pericolo in cabina. Uscite subito."]', "[]", "general.high", "not a list"),
        ('["Pericolo in cabina. Uscite subito."]', "[1]", "general.high", "not a list"),
        ('["Pericolo in cabina. Uscite subito."]', '"x"', "general.high", "not a list"),
        ("[spans]", "phone = 1\n[spans]", "phone", "not a table"),
        ("[spans]", '[phone]\nfresh = "{text}"\n[spans]', "phone.fresh", "{moment}"),
        ("[spans]", "[phone]\nlate = 1\n[spans]", "phone.late", "{age}"),
        ("[spans]", '[phone]\nsecond = "{text} {cabin"\n[spans]', "phone.second", "{"),
        (
            "[spans]",
            '[phone]\nsecond = "{text:d}{cabin}"\n[spans]',
            "phone.second",
            "{",
        ),
        ("[spans]", '[phone]\nthird = "{text}"\n[spans]', "phone.third", "fresh"),
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
