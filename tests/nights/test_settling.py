"""An oxygen cell that was connected a moment ago, and a heater lit while it settles."""

from pathlib import Path

import pytest

from cabinvigil.daemon.commands.emulated_spans import emulated_spans
from cabinvigil.daemon.core.model import AlarmState, Command, Transition
from cabinvigil.daemon.rehearsal import emulated_wires
from cabinvigil.daemon.rehearsal.cabin import EmulatedCabin
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.nights import NamedNight, NightChange, NightSetting
from cabinvigil.daemon.rehearsal.play import Rehearsal, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.words import renderer
from tests.bench.warming import CONFIG

AIRED = NightSetting(outside_c=5.0, wind_mps=2.0)
HUT = CONFIG.replace("volume_m3 = 11.0", "volume_m3 = 26.0").replace("640.0", "1900.0")


def rung(
    config: str,
    change: NightChange,
    monkeypatch: pytest.MonkeyPatch,
    folder: Path,
    seed: int,
) -> list[tuple[str, float]]:
    """Play half an hour with a cell that was just connected; alarms and when."""
    file = folder / "cabin.toml"
    file.write_text(config.format(options=""), encoding="utf-8")
    settings = load(file)
    spans = emulated_spans(settings, seed)
    assert spans.refused == ()
    monkeypatch.setattr(emulated_wires, "EVENING_S", 0.0)
    told: list[tuple[str, float]] = []

    def write(command: Command, time_s: float) -> None:
        if (
            isinstance(command, Transition)
            and command.state is AlarmState.UNACKNOWLEDGED
        ):
            told.append((command.alarm, time_s))

    night = NamedNight("settling", "a cell settles", AIRED, (change,))
    cabin = EmulatedCabin(settings.cabin, night)
    rehearsal = Rehearsal(
        settings, renderer("en"), cabin, 0.5, seed=seed, make=spans.make
    )
    run_virtual(play(rehearsal, lambda _clock, _report: [LineWriter(write)]))
    return told


@pytest.mark.parametrize(
    ("config", "lit_s", "kw"),
    [(CONFIG, 180.0, 1.0), (CONFIG, 600.0, 0.8), (HUT, 300.0, 2.0)],
    ids=["at once", "later", "hut"],
)
def test_a_heater_lit_while_a_cell_settles_is_no_other_gas(
    config: str,
    lit_s: float,
    kw: float,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """It rang "Unknown gas", with the vents open and oxygen at 20.4 %."""
    lit = NightChange(lit_s, {"burner_kw": kw})
    told = {alarm for alarm, _ in rung(config, lit, monkeypatch, tmp_path, seed=2)}
    assert told <= {"o2-falling"}  # which raises on what a doubtful part shows


def test_a_leak_while_a_cell_settles_is_told_all_the_same(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """More is missing than a cell settles by: before oxygen itself is low."""
    leak = NightChange(240.0, {"leak_mol_s": 0.08})
    told = dict(reversed(rung(CONFIG, leak, monkeypatch, tmp_path, seed=2)))
    assert told["displaced-air"] < told["o2-low"]
