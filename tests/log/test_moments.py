"""The moments and dates of a night."""

from datetime import UTC, timedelta
from pathlib import Path

from cabinvigil.daemon.log.moments import day, moment
from cabinvigil.daemon.log.runs import read_tape
from tests.review import logs

HOUR = 3600.0


def test_a_night_is_named_by_its_evening(tmp_path: Path) -> None:
    """One o'clock in the morning belongs to the evening before."""
    for begins, words in (
        (logs.START, "16 January 2026"),
        (logs.START + timedelta(hours=4), "16 January 2026"),
        (None, ""),
    ):
        data = logs.begin(begins) + logs.air(logs.still_air(0.0, HOUR), begins)
        assert day(read_tape([logs.write(tmp_path, data)]), UTC) == words


def test_without_a_clock_moments_count_from_the_first_line(tmp_path: Path) -> None:
    """An hour and a half in."""
    data = logs.begin(None) + logs.air(logs.still_air(0.0, 2 * HOUR), None)
    tape = read_tape([logs.write(tmp_path, data)])
    assert moment(tape, 5400.0, UTC) == "+1:30"
