"""Faults of the running daemon: told, and neither the sounder nor a tick waits.

One row a test; `python -m tests.faults` prints the table.
"""

from pathlib import Path

import pytest

from tests.faults.daemon.rows import ROWS, Row, judge


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_the_running_daemon_tells_and_goes_on(row: Row, tmp_path: Path) -> None:
    """Gas sounds while it lasts, the log has both, and what is mended is over."""
    assert judge(row, tmp_path).line()
