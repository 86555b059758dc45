"""Any config can be rehearsed: drawn cabins, far from the example's.

`python -m tests.bench.drawn_cabins` tries hundreds.
"""

import json
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import precheck
from cabinvigil.daemon.commands.emulated_spans import emulated_spans
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.settings.config import load
from cabinvigil.drivers import REGISTRY
from tests.commands.calling import call
from tests.rehearsal.drawn_cabins import NEWER_CO2, crossing_h, drawn, rehearsed

SEEDS = (14, 16)
"""Oxygen cells that need a span, one of them at 2 800 m."""


@pytest.mark.parametrize("seed", SEEDS)
def test_a_drawn_cabin_is_rehearsed(seed: int, tmp_path: Path) -> None:
    """P3: the cells had no span, so that nights were played without oxygen."""
    file = tmp_path / "cabin.toml"
    file.write_text(drawn(seed))
    settings = load(file)
    spans = emulated_spans(settings, seed)
    assert spans.refused == ()
    quiet = rehearsed(settings, spans, "quiet", 0.6, seed)
    assert (quiet.faults, quiet.missing) == ([], [])
    hours = crossing_h(settings, 19.5)
    shut = rehearsed(settings, spans, "shut", hours + 0.1, seed)
    woken = [one.alarm for _, one in shut.rings if one.priority >= Priority.MEDIUM]
    assert hours < 3.0
    assert any(alarm.startswith("o2-") for alarm in woken)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_drawn_cabin_is_prechecked(seed: int, tmp_path: Path) -> None:
    """P3: `precheck --emulated` was NOT READY where the cabin is not at 640 m."""
    file = tmp_path / "cabin.toml"
    file.write_text(drawn(seed))
    code, out, err = call(precheck, "--emulated", "--config", file, "--json")
    told = json.loads(out)
    assert [one for one in told["findings"] if one["word"] == "bad"] == []
    assert told["verdict"].startswith("NOT FULLY CHECKED: sounder, phone, log.")
    assert (code, err) == (1, "")


@pytest.mark.parametrize("seed", [46, 208])
def test_a_co2_module_that_warms_up_high_up_is_no_gas(
    seed: int, tmp_path: Path
) -> None:
    """Its made-up 410 ppm, told as 731 at 2,579 m, did not match the oxygen."""
    file = tmp_path / "cabin.toml"
    file.write_text(drawn(seed))
    settings = load(file)
    assert "frame9_co2" in {part.kind for part in settings.parts.values()}
    spans = emulated_spans(settings, seed)
    assert rehearsed(settings, spans, "quiet", 0.25, seed).faults == []


def _seed_of(kind: str) -> int:
    return next(seed for seed in range(1, 99, 2) if f'kind = "{kind}"' in drawn(seed))


@pytest.mark.parametrize("kind", NEWER_CO2)
def test_a_newer_co2_part_has_no_fault_in_a_drawn_cabin(
    kind: str, tmp_path: Path
) -> None:
    """Whatever its options, place and height."""
    seed = _seed_of(kind)
    file = tmp_path / "cabin.toml"
    file.write_text(drawn(seed))
    settings = load(file)
    spans = emulated_spans(settings, seed)
    quiet = rehearsed(settings, spans, "quiet", 0.25, seed)
    assert (quiet.faults, quiet.missing) == ([], [])


def test_each_kind_is_drawn_and_each_draw_is_a_config(tmp_path: Path) -> None:
    """A new part is, by itself: as one of its own sort, or of `REST`."""
    file, seen = tmp_path / "cabin.toml", set()
    for seed in range(150):
        file.write_text(drawn(seed))
        seen |= {part.kind for part in load(file).parts.values()}
    missing = set(REGISTRY) - seen - {"contact"}
    assert missing == set(), "never drawn by tests/rehearsal/drawn_cabins.py"


def test_the_draw_repeats_itself() -> None:
    """A seed that failed can be looked at again."""
    assert drawn(7) == drawn(7) != drawn(8)
