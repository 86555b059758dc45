"""Every part, and every way its wire fails: told in time, in its words, and no more.

One row a test; `python -m tests.faults` prints the table.
"""

from pathlib import Path

import pytest

from cabinvigil.drivers import REGISTRY
from tests.faults.judged import judge
from tests.faults.row import Row
from tests.faults.rows import ROWS


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_a_failure_is_told_and_hides_no_gas(row: Row, tmp_path: Path) -> None:
    """Every way out has it in time; no false gas, no missed gas, back by itself."""
    assert judge(row, tmp_path).line()


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row.told], ids=lambda row: row.name
)
def test_the_words_name_part_act_and_remedy(row: Row) -> None:
    """Each sentence of the table ends with what to do."""
    remedies = ("Check", "Switch", "Replace", "has been stuck")
    assert any(word in row.words for word in remedies)


def test_the_table_is_whole() -> None:
    """At least forty rows, every part of the registry, no row twice."""
    assert len(ROWS) >= 40
    lacking = set(REGISTRY) - {row.kind for row in ROWS}
    assert lacking == set(), "tests/faults/rows.py, ROWS lacks these parts"
    assert len({row.name for row in ROWS}) == len(ROWS)
