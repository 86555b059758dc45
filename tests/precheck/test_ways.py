"""The ways out before bed: a real sounder line, a real disk."""

import io
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.ask.socket import typed
from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.outputs.signal.gpio import LineCheck, LineError, open_gpio
from cabinvigil.daemon.precheck import ways
from cabinvigil.daemon.precheck.findings import WatchStatus
from cabinvigil.daemon.precheck.ways import buzzer, try_log
from cabinvigil.daemon.settings.config import Settings, load
from tests.recording_line import RecordingLine

CLOCK = SystemClock()
WELL = WatchStatus({}, frozenset(), {}, {})
CABIN = """
[cabin]
name = "lapwing"
[part.bunk-co]
kind = "frame9_co"
port = "/dev/ttyUSB0"
"""
SOUNDER = '[buzzer]\nline = "GPIO17"\n'


def cabin(folder: Path, more: str = "") -> Settings:
    path = folder / "cabin.toml"
    path.write_text(CABIN + more, encoding="utf-8")
    return load(path)


def says(answer: str) -> Any:
    return lambda _prompt: answer


class SensedLine(RecordingLine):
    """A line whose sense line follows."""

    def self_test(self) -> LineCheck:
        return LineCheck.HEARD


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test sound of a third of a second."""
    short = ways.PATTERNS["three-pulse"]
    parts = {**ways.PATTERNS, "test": type(short)("test", (1000, 2000), False)}
    monkeypatch.setattr(ways, "PATTERNS", parts)


@pytest.mark.parametrize(
    ("language", "answer"),
    [("en", "yes"), ("en", " Y "), ("de", "Ja"), ("de", "j"), ("fr", "oui")],
)
def test_the_test_sounds_and_is_heard(
    tmp_path: Path, quick: None, language: str, answer: str
) -> None:
    """The line is driven, and left silent; a clear yes is one."""
    line = SensedLine(CLOCK)
    settings = cabin(tmp_path, f'{SOUNDER}[watch]\nlanguage = "{language}"\n')
    found = buzzer(settings, WELL, CLOCK, lambda *_, **__: line, says(answer))
    assert (found.word, found.text) == (
        "good",
        "you heard it, and its sense line confirms it",
    )
    levels = [level for _, level in line.changes]
    assert True in levels
    assert levels[-1] is False
    assert line.is_closed


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_what_was_not_heard_is_bad(
    tmp_path: Path, quick: None, monkeypatch: pytest.MonkeyPatch, language: str
) -> None:
    """Whatever the line says of itself: silence and any other word are no yes."""
    monkeypatch.setattr(ways, "_sound", lambda *_: ("", LineCheck.HEARD))
    settings = cabin(tmp_path, f'{SOUNDER}[watch]\nlanguage = "{language}"\n')
    heard_nothing = ("", " ", "n", "No", "nein", "non", "no!", "not at all", "?", "q")
    others = {"en": ("ja", "oui", "yes?"), "de": ("oui", "o"), "fr": ("ja", "j")}
    for answer in (*heard_nothing, *others[language], "yes, but faintly"):
        found = buzzer(settings, WELL, CLOCK, open_gpio, says(answer))
        assert found.word == "bad", answer
        assert "check its wiring" in found.text


def test_a_closed_standard_input_is_no_yes(
    tmp_path: Path, quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A script without a person in front of it has heard nothing."""
    monkeypatch.setattr(ways, "_sound", lambda *_: ("", LineCheck.HEARD))
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    found = buzzer(cabin(tmp_path, SOUNDER), WELL, CLOCK, open_gpio, typed)
    assert found.word == "bad"


def test_a_line_that_cannot_be_had_is_bad(tmp_path: Path, quick: None) -> None:
    """With its remedy, and nobody is asked whether they heard it."""

    def refused(*_: Any, **__: Any) -> RecordingLine:
        raise LineError(13, "GPIO line 'GPIO17' cannot be taken; add the group 'gpio'")

    def never(_prompt: str) -> str:
        pytest.fail("asked for a sound that did not sound")

    found = buzzer(cabin(tmp_path, SOUNDER), WELL, CLOCK, refused, never)
    assert found.word == "bad"
    assert "add the group 'gpio'" in found.text


def test_without_a_sounder_no_night_is_ready(tmp_path: Path) -> None:
    """And one that the watch finds faulty is told in its words."""
    none = buzzer(cabin(tmp_path), WELL, CLOCK, lambda *_, **__: None, says(""))  # type: ignore[arg-type, return-value]
    assert none.word == "bad"
    faulty = WatchStatus({}, frozenset(), {}, {"buzzer": "its line is gone"})
    settings = cabin(tmp_path, SOUNDER)
    told = buzzer(settings, faulty, CLOCK, lambda *_, **__: None, says(""))  # type: ignore[arg-type, return-value]
    assert (told.word, told.text) == ("bad", "its line is gone")


def test_a_sounder_that_is_not_tested_now_is_not_checked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tested a minute ago: neither heard nor bad, and nobody is asked."""
    answer = {"ok": False, "text": "Nothing was done: wait 9 min."}
    monkeypatch.setattr(ways, "ask_watch", lambda *_: answer)
    runs = WatchStatus({}, frozenset(), {}, {}, runs=True)

    def never(*_: Any, **__: Any) -> Any:
        pytest.fail("asked for a sound that did not sound")

    found = buzzer(cabin(tmp_path, SOUNDER), runs, CLOCK, never, never)
    assert (found.word, found.text) == (
        "not checked",
        "whether it is heard: Nothing was done: wait 9 min.",
    )


def test_a_log_is_tried_and_left_as_it_was(tmp_path: Path) -> None:
    """A few bytes to the disk and away again; not beside a watch that writes."""
    free_mb, error = try_log(tmp_path / "log", is_ours=True)
    assert free_mb is not None
    assert free_mb > 0.0
    assert error == ""
    assert list((tmp_path / "log").iterdir()) == []
    assert try_log(tmp_path / "none", is_ours=False) == (None, "")


def test_a_log_that_cannot_be_written_says_why(tmp_path: Path) -> None:
    """A file stands where the folder should."""
    (tmp_path / "log").write_text("")
    free_mb, error = try_log(tmp_path / "log", is_ours=True)
    assert error == "File exists"
    assert free_mb is not None
