"""`cabinvigil rehearse --log`: one folder holds one rehearsal of a date."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.commands import rehearse
from tests.commands.calling import call
from tests.review import logs

QUICK = ("quiet", "--hours", "0.02", "--tick-s", "10", "--log")


def test_a_second_night_of_a_date_is_refused(tmp_path: Path) -> None:
    """R5: README's own call, typed twice, told of 4.0 h below 19.5 % for 2.0."""
    folder = tmp_path / "quiet"
    assert call(rehearse, *QUICK, folder)[0] == 0
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    code, out, err = call(rehearse, *QUICK, folder)
    assert (code, out) == (2, "")
    assert err == (
        f"cabinvigil: --log {folder}: holds a night of 2026-01-16 already "
        "(night-2026-01-16.jsonl); name another folder, or move "
        "that file away\n"
    )
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == before


def test_nights_of_other_dates_are_no_reason(tmp_path: Path) -> None:
    """The watch's own nights, packed or not, are of other dates."""
    logs.write(tmp_path, logs.begin(), "night-2026-01-15.jsonl.gz")
    assert call(rehearse, *QUICK, tmp_path)[0] == 0


def test_a_live_one_is_of_today(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The night in which the trailer is now: half past noon its is another."""
    now = datetime(2026, 3, 5, 11, 30, tzinfo=UTC)
    monkeypatch.setattr(SystemClock, "wall", lambda _: now)
    logs.write(tmp_path, logs.begin(), "night-2026-03-05.jsonl.gz")
    code, _, err = call(rehearse, "--live", *QUICK, tmp_path)
    assert code == 2
    assert "holds a night of 2026-03-05 already (night-2026-03-05.jsonl.gz)" in err
