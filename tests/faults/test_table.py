"""Every part, and every way its wire fails: told in time, in its words, and no more.

One row a test.  The table prints with `pytest -s tests/faults` or with the variable
CABINVIGIL_TABLE set.
"""

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.drivers import REGISTRY
from tests.faults.nights import SUSPECT, FaultyNight, play_fault, settings
from tests.faults.rows import NOTHING, ROWS, TICK_S, Row

GASES = ("o2-", "co-", "co2-", "gas-", "displaced", "fine-dust")
UNGUARDED = "sensor-stale/o2_pct"
"""Where the only oxygen part is lost the sleeper is woken for it, by design: nothing
then watches the oxygen."""
RINGS_S = 20.0
"""300 ppm of CO reach 200 on a module of 13 s lag that reads 5 % low at 15 °C within
16 s; a frame and a tick more."""


@pytest.fixture(scope="module")
def printed() -> Iterator[list[str]]:
    """Gather the table's lines; print them at the end where that is asked for."""
    lines: list[str] = []
    yield lines
    is_shown = os.environ.get("CABINVIGIL_TABLE") or "-s" in sys.argv
    if is_shown and lines:
        head = f"{'part':<16} {'fault':<9} {'told s':>7} {'limit s':>7}  sentence"
        print("\n" + "\n".join([head, *lines]))


def first_told(row: Row, night: FaultyNight) -> tuple[float, str]:
    """When the row's alarm was raised, counted from the fault, and its sentence."""
    raised = night.raised(row.told)
    assert raised, f"never told; but {[one.alarm for _, one in night.raised('')]}"
    at_s, one = raised[0]
    return at_s - night.fault_at_s, one.text


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_a_failure_is_told_and_hides_no_gas(
    row: Row, tmp_path: Path, printed: list[str]
) -> None:
    """In time, in one sentence; no false gas, no missed gas, back without a restart."""
    night = play_fault(settings(row.kind, tmp_path), row.fault, row.within_s)
    if row.told == NOTHING:
        assert night.raised("sensor-", "watch-fault/main") == []
        printed.append(f"{row.kind:<16} {row.fault:<9} {'-':>7} {'-':>7}  ({row.note})")
    else:
        told_s, text = first_told(row, night)
        assert -TICK_S <= told_s <= row.within_s
        assert row.words in text
        assert (SUSPECT in text) or ("bus main" in text)
        printed.append(
            f"{row.kind:<16} {row.fault:<9} {told_s:7.1f} {row.within_s:7.1f}  {text}"
        )
    assert [at_s for at_s, _ in night.raised(*GASES) if at_s < night.gas_at_s] == []
    rang = [(at_s, one.priority.word) for at_s, one in night.raised("co-level")]
    assert any(
        at_s <= night.gas_at_s + RINGS_S and word == "high" for at_s, word in rang
    )
    assert any(pattern == "temporal-four" for _, pattern in night.sounds())
    assert night.stands("sensor-", "watch-fault") == []
    assert night.watcher is not None
    assert set(night.watcher.numbers()) == set(night.watcher.composed.setup.series)


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row.told], ids=lambda row: row.name
)
def test_the_words_name_part_act_and_remedy(row: Row) -> None:
    """Each sentence of the table ends with what to do."""
    remedies = ("Check", "Switch", "Replace", "has stood still")
    assert any(word in row.words for word in remedies)


def test_the_table_is_whole() -> None:
    """At least forty rows, every part of the registry, no row twice."""
    assert len(ROWS) >= 40
    assert {row.kind for row in ROWS} == set(REGISTRY)
    assert len({row.name for row in ROWS}) == len(ROWS)
