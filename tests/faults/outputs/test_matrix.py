"""Every fault of the surroundings, and every way out: what rings, is told, comes back.

One row a test; `python -m tests.faults` prints the table.
"""

from pathlib import Path

import pytest

from tests.faults.outputs.judged import judge
from tests.faults.outputs.rows import ROWS, Row


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_a_fault_is_told_and_takes_nothing_with_it(row: Row, tmp_path: Path) -> None:
    """It is told; every other way out goes on; the failed one catches up."""
    assert judge(row, tmp_path).line()
