"""What parsers have stumbled over, kept: each file is read, or told in a sentence."""

import json
import shutil
from pathlib import Path

import pytest

from cabinvigil.daemon.core.engine import start
from cabinvigil.daemon.core.snapshot import restore, resume
from cabinvigil.daemon.outputs.state_file import StateFile
from tests.fuzz.test_asks import QUIET_AT_MOST_S, TICK_S, Cabin
from tests.fuzz.test_files import SETUP, WALL, check, told

CORPUS = Path(__file__).parents[1] / "data" / "corpus"


def of(folder: str) -> pytest.MarkDecorator:
    """Every file of one folder, by its name."""
    files = sorted((CORPUS / folder).iterdir())
    assert files
    return pytest.mark.parametrize("path", files, ids=lambda path: path.name)


@of("config")
def test_a_config_is_read_or_refused(path: Path) -> None:
    """With its file and key, and never with what would steer a terminal."""
    code, out, err = told("config", str(path))
    check(code, out, err)
    assert "\x1b" not in out + err


@of("log")
def test_a_log_is_replayed_and_has_its_morning(path: Path) -> None:
    """As far as it goes; what is no JSON never comes out as JSON."""
    check(*told("replay", str(path), "--json", "--estimates"), lines=True)
    code, out, err = told("morning", str(path))
    check(code, out, err)
    assert "\x1b" not in out


@of("csv")
def test_a_csv_is_replayed_or_refused(path: Path) -> None:
    """Every line of the answer is JSON."""
    check(*told("replay", str(path), "--json", "--estimates"), lines=True)


@of("state")
def test_a_state_is_taken_or_left_with_a_note(path: Path, tmp_path: Path) -> None:
    """Nothing raises, and what is left aside is said."""
    shutil.copy(path, tmp_path / "state")
    kept = StateFile(tmp_path / "state").load(WALL, 2.0)
    if kept.body is None:
        assert kept.notes
        return
    state, _ = restore(SETUP, kept.body, 0.0, down_s=kept.down_s)
    assert resume(state, 0.0)
    assert start(SETUP, 0.0).setup is state.setup


@of("ask")
def test_an_ask_is_answered_and_gas_sounds_again(path: Path) -> None:
    """Whatever a phone says, the sound of CO is not away for longer than allowed."""
    cabin = Cabin()
    cabin.hear(path.read_bytes(), "cabinvigil/lapwing/answer", b"\xff")
    assert cabin.live(2.0 * QUIET_AT_MOST_S) <= QUIET_AT_MOST_S + TICK_S
    for body, _ in cabin.answers:
        json.dumps(body, allow_nan=False)
