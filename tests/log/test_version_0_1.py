"""What version 0.1.0 left on a card is read: its config, its night and its state."""

import gzip
import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.model import AlarmState, Priority
from cabinvigil.daemon.core.snapshot import restore
from cabinvigil.daemon.outputs.state_file import StateFile
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.words import renderer

LEFT = Path(__file__).parents[1] / "data" / "version_0_1"
NIGHT = "night-2026-01-16.jsonl.gz"
AT_O2_LIMIT_S = 60.0
"""Both versions order people out at 19.5 %; their filters may differ by so much."""


@pytest.fixture
def nights(tmp_path: Path) -> Path:
    shutil.copy(LEFT / NIGHT, tmp_path)
    return tmp_path


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    capsys.readouterr()
    main(list(words))
    return capsys.readouterr().out


def test_its_config_still_starts_the_monitor() -> None:
    settings = load(LEFT / "cabin.toml")
    assert settings.cabin.name == "lapwing"
    assert len(settings.parts) == 7


def test_its_night_is_judged(nights: Path, capsys: pytest.CaptureFixture[str]) -> None:
    account = json.loads(printed(capsys, "morning", str(nights), "--json"))
    assert account["version"] == "0.1.0"
    assert account["verdict"] == "dangerous"
    assert account["well"] is False
    assert account["closest"][0]["quantity"] == "o2_pct"
    assert account["closest"][0]["value"] == pytest.approx(17.9, abs=0.05)


def highs(lines: list[dict[str, object]], seconds: str) -> list[float]:
    return [
        float(str(one[seconds]))
        for one in lines
        if one.get("event") == "alarm"
        and one["alarm"] == "o2-low"
        and one["priority"] == "high"
        and one["state"] == "unacknowledged"
    ]


def test_its_night_replays_to_its_danger(
    nights: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with gzip.open(nights / NIGHT, "rt", encoding="utf-8") as file:
        then = highs([json.loads(line) for line in file], "up_s")
    again = printed(capsys, "replay", str(nights / NIGHT), "--json").splitlines()
    now = highs([json.loads(line) for line in again], "time_s")
    assert then
    assert now[0] == pytest.approx(then[0], abs=AT_O2_LIMIT_S)


def test_its_log_is_whole(nights: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "nothing is damaged" in printed(capsys, "log", "check", str(nights))


def test_its_state_goes_on_under_a_new_version(tmp_path: Path) -> None:
    """A Pi that is brought up to date beside an active danger goes on sounding it."""
    shutil.copy(LEFT / "state.json", tmp_path)
    wall = datetime(2026, 1, 16, 23, 0, 30, tzinfo=UTC)
    kept = StateFile(tmp_path / "state.json").load(wall, 7230.0)
    assert kept.notes == ()
    assert kept.down_s == pytest.approx(30.0)
    settings = load(LEFT / "cabin.toml")
    setup = compose_settings(settings, renderer()).setup
    state, lost = restore(setup, kept.body, 0.0, down_s=kept.down_s)
    assert lost == []
    stands = state.standings["o2-low"]
    assert stands.state is AlarmState.UNACKNOWLEDGED
    assert stands.priority is Priority.HIGH
    assert state.all_clear_owed == {"co2-level", "o2-falling", "o2-low", "o2-projected"}
    assert state.history.dose.cohb_pct == pytest.approx(1.69, abs=0.01)
    assert state.sound is not None
