"""What speaks German or French, and what English alone: said once, where it shows."""

import re
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.commands import config, morning, rehearse, replay, show
from cabinvigil.daemon.settings.words import languages
from cabinvigil.daemon.text.languages import ENGLISH, NAMES, partly_spoken
from tests.commands import calling
from tests.report.test_live_view import STATUS, watch

SAID = {"de": "Alarms and their texts speak German", "fr": "speak French"}
REST = "all else is English as yet."


def test_every_language_that_ships_has_its_name() -> None:
    assert set(languages()) == {ENGLISH, *NAMES}
    assert partly_spoken(ENGLISH) == ""
    assert partly_spoken(None) == ""


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """A German cabin, and half an hour of its log."""
    folder = tmp_path_factory.mktemp("de")
    text = calling.call(config, "--example")[1]
    file = folder / "de.toml"
    text = re.sub(r"(?m)^# ?language = .*|^language = .*", "", text)
    file.write_text(text.replace("[watch]\n", '[watch]\nlanguage = "de"\n', 1))
    words = ["shut", "--config", file, "--hours", "0.5", "--tick-s", "60"]
    code, out, _ = calling.call(rehearse, *words, "--log", folder / "log")
    assert code == 0
    (log,) = (folder / "log").glob("*.jsonl")
    return {"file": file, "out": out, "log": log}


def test_it_is_said_once_where_both_show(night: dict[str, Any], tmp_path: Path) -> None:
    """With the alarms of the night in German, the rest in English."""
    page = tmp_path / "page.html"
    calling.call(morning, night["log"], "--page", page)
    replayed = calling.call(replay, night["log"], "--config", night["file"])
    with watch(tmp_path, STATUS) as (path, _):
        words = ("--once", "--socket", path, "--config", night["file"])
        shown = calling.call(show, *words)[1]
    for text in (
        calling.call(config, night["file"])[1],
        calling.call(config, night["file"], "--all")[1],
        night["out"],
        page.read_text(encoding="utf-8"),
        replayed[1] + replayed[2],
        shown,
    ):
        said = " ".join(text.split())
        assert said.count(SAID["de"]) == 1
        assert said.count(REST) == 1
    assert "Sauerstoffmangel" in night["out"]


def test_a_morning_at_the_terminal_is_english_and_needs_no_word(
    night: dict[str, Any],
) -> None:
    """It has alarms by their names, and none of their sentences."""
    out = calling.call(morning, night["log"])[1]
    assert "oxygen soon too low" in out
    assert "Sauerstoff" not in out
    assert REST not in out
