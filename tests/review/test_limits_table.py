"""What other limits would have rung, from the night's own log."""

from datetime import UTC
from pathlib import Path

import pytest

from cabinvigil.daemon.review.limits_table import Row, as_json, lines, table
from cabinvigil.daemon.review.recording import RecordingError
from cabinvigil.daemon.settings import ConfigError
from tests.review import logs

MINUTE = 60.0


def night(folder: Path) -> Path:
    """CO rises by 1 ppm a minute from 0 to 60, and oxygen by nothing."""
    rows = [
        (10.0 * n, {"co_ppm": n / 6.0, "o2_pct": 20.5 + 0.001 * (n % 3)})
        for n in range(360)
    ]
    return logs.write(folder, logs.begin() + logs.air(rows))


def limits(folder: Path, text: str) -> Path:
    path = folder / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def rows(folder: Path, text: str) -> dict[str, Row]:
    found = table([night(folder)], limits(folder, text))
    return {row.alarm: row for row in found if row.alarm.startswith(("co-", "o2-"))}


def test_a_stricter_limit_rings_earlier(tmp_path: Path) -> None:
    """20 in place of 30 ppm: ten minutes earlier at 1 ppm a minute."""
    row = rows(
        tmp_path, '[alarm.co-level]\nsteps = [{ at = 20.0, priority = "low" }]\n'
    )["co-level"]
    assert row.change == "earlier"
    assert row.was_s == pytest.approx(30 * MINUTE, abs=15.0)
    assert row.moved_min == pytest.approx(-10.0, abs=0.5)


def test_a_laxer_limit_is_lost_or_later(tmp_path: Path) -> None:
    """At 90 ppm it never rings; at 50, twenty minutes later."""
    lost = rows(
        tmp_path, '[alarm.co-level]\nsteps = [{ at = 90.0, priority = "low" }]\n'
    )["co-level"]
    assert (lost.change, lost.would_s, lost.moved_min) == ("lost", None, None)
    later = rows(
        tmp_path, '[alarm.co-level]\nsteps = [{ at = 50.0, priority = "low" }]\n'
    )["co-level"]
    assert later.moved_min == pytest.approx(20.0, abs=0.5)


def test_a_new_limit_is_gained_and_the_rest_stays(tmp_path: Path) -> None:
    """Keys that are not named stay as they were."""
    found = rows(
        tmp_path, '[alarm.o2-low]\nsteps = [{ at = 20.6, priority = "high" }]\n'
    )
    assert found["o2-low"].change == "gained"
    assert found["o2-low"].priority == "high"
    assert found["co-level"].change == "same"
    told = list(lines(found.values(), UTC))
    assert "gained (high)" in told[1]
    assert told[-1].startswith("1 changed, ")
    assert as_json(found["o2-low"])["was_s"] is None


def test_the_same_limits_change_nothing(tmp_path: Path) -> None:
    """What rang then rings now."""
    told = list(lines(table([night(tmp_path)], limits(tmp_path, "")), UTC))
    assert told == ["Nothing changes: " + told[0].split(": ")[1]]


def test_times_are_local_times_of_that_night(tmp_path: Path) -> None:
    """21:00 UTC and half an hour."""
    found = rows(
        tmp_path, '[alarm.co-level]\nsteps = [{ at = 20.0, priority = "low" }]\n'
    )
    told = list(lines(found.values(), UTC))
    assert "21:30  21:20  10.0 min earlier (low)" in told[1]


def test_a_mistake_names_the_limits_file(tmp_path: Path) -> None:
    """File, key, and how to mend it."""
    wrong = limits(tmp_path, "[alarm.co-level]\nsteps = 7\n")
    with pytest.raises(ConfigError, match=r"limits\.toml.*co-level"):
        list(table([night(tmp_path)], wrong))


def test_a_log_without_its_start_cannot_be_judged(tmp_path: Path) -> None:
    """Nobody knows what ran."""
    path = logs.write(tmp_path, logs.air([(0.0, {"co_ppm": 3.0})]))
    with pytest.raises(RecordingError, match="no start record"):
        list(table([path], limits(tmp_path, "")))
    with pytest.raises(RecordingError, match="cannot be read"):
        list(table([tmp_path / "none.jsonl"], limits(tmp_path, "")))
