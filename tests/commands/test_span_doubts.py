"""`span` where a part has moved: asked about, refused, taken back."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.span.kept import SpansFile, maker
from cabinvigil.daemon.span.session import MOVE_IT
from tests.commands import test_span
from tests.commands.test_span import USUAL, Person, called, session, shows

config = test_span.config


def moved(config: Path, tmp_path: Path, signal: float) -> Path:
    """A state folder whose last span of the cell is this much off what it gives now."""
    folder = tmp_path / "state"
    session(load(config), folder)
    (cell,) = [one for one in SpansFile(folder).load() if one.part == "bunk-cell"]
    options = {**cell.options, "air_mv": cell.signal * signal}
    wrong = replace(cell, signal=cell.signal * signal, options=options)
    SpansFile(folder).add([wrong], datetime(2026, 1, 16, tzinfo=UTC), 0.0)
    return folder


@pytest.mark.parametrize(
    ("signal", "answer", "is_taken"),
    [
        (1.0, "", True),
        (1.04, "", False),  # 0.8 % low: asked about
        (1.04, MOVE_IT, True),
        (1.10, MOVE_IT, False),  # 1.9 % low: refused, whatever is typed
        (0.95, MOVE_IT, False),  # a rise
    ],
)
def test_a_cell_that_moved_is_asked_about_or_refused(
    config: Path, tmp_path: Path, signal: float, answer: str, is_taken: bool
) -> None:
    """And what was refused is kept as that: it counts for nothing."""
    folder = moved(config, tmp_path, signal)
    outcome = session(load(config), folder, ["bunk-cell"], person=Person(answer))
    assert outcome.is_good is is_taken
    last = SpansFile(folder).load()[-1]
    assert last.void.startswith("refused: it shows") is not is_taken
    assert (outcome.kept_in is not None) is is_taken
    _, listed, _ = called(config, "--kept", "--state", str(folder))
    assert ("does not count, refused: it shows" in listed) is not is_taken


def test_a_span_is_taken_back_and_the_one_before_it_counts(
    config: Path, tmp_path: Path
) -> None:
    """It stays in the file with its day; a second time takes the one before it."""
    folder = moved(config, tmp_path, 0.95)
    words = ["--emulated", "--state", str(folder), "--undo", "bunk-cell"]
    code, out, _ = called(config, *words)
    assert code == 0
    assert out.startswith("bunk-cell: the calibration of ")
    assert "now it is that of " in out
    assert session(load(config), folder, ["bunk-cell"]).is_good
    assert len(SpansFile(folder).load()) == len(USUAL) + 2
    for _ in range(2):
        assert called(config, *words)[0] == 0
    code, out, err = called(config, *words)
    assert (code, out) == (2, "")
    assert "no calibration of bunk-cell in --kept counts" in err
    assert maker(folder, lambda _fault: None) is not None
    assert shows(load(config), folder).values("bunk-cell", "o2_pct") == []
    code, _, err = called(config, "--emulated", "--undo", "bunk-o3")
    assert code == 2
    assert "the config has no sensor 'bunk-o3'" in err


def test_taking_back_as_json(config: Path, tmp_path: Path) -> None:
    """What counted, and what counts now."""
    folder = tmp_path / "state"
    session(load(config), folder)
    words = ["--emulated", "--state", str(folder), "--undo", "bunk-co", "--json"]
    code, out, _ = called(config, *words)
    told = json.loads(out)
    assert code == 0
    assert (told["undone"]["part"], told["counts"]) == ("bunk-co", None)


def test_a_pressure_that_no_part_gave_is_not_kept(config: Path, tmp_path: Path) -> None:
    """The altitude's standard one serves for the vapour, and for no correction."""
    text = config.read_text("utf-8").replace('pressure_from = "baro"\n', "")
    text = text.replace('[part.baro]\nkind = "bme280"\nbus = "main"\n', "")
    config.write_text(text, encoding="utf-8")
    outcome = session(load(config), tmp_path / "state", ["bunk-cell"])
    assert outcome.is_good
    (cell,) = SpansFile(tmp_path / "state").load()
    assert cell.pressure_hpa is None
    assert "air_hpa" not in cell.options
    assert outcome.air.pressure_hpa == pytest.approx(938.8, abs=1.0)
