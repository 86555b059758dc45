"""A log read back as events: what rang then rings again, and nothing else does."""

import json
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.core.engine import act_record
from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.log.reader import LogLine
from cabinvigil.daemon.replay.replay import event_of, ticks_of_a_hole
from tests.review.logs import air, begin, line, still_air


def told(path: Path, capsys: pytest.CaptureFixture[str]) -> set[str]:
    """Which faults of the watch itself a replay tells."""
    assert main(["replay", str(path), "--json"]) == 0
    return {
        said["alarm"]
        for said in map(json.loads, capsys.readouterr().out.splitlines())
        if said["event"] == "alarm" and said["alarm"].startswith("watch-")
    }


def test_an_ask_that_was_refused_rings_no_more_than_it_did(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is logged, and was no fault of the watch; a socket that failed was one."""
    path = tmp_path / "night-2026-01-16.jsonl"
    calm = begin() + air(still_air(0.0, 60.0))
    refused = line("fault", 61.0, source="ask", kind="refused", text="not JSON")
    path.write_bytes(calm + refused + air(still_air(70.0, 120.0)))
    assert told(path, capsys) == set()
    failed = line("fault", 61.0, source="ask", kind="not-writable", text="no folder")
    path.write_bytes(calm + failed + air(still_air(70.0, 120.0)))
    assert told(path, capsys) == {"watch-fault/ask"}


@pytest.mark.parametrize("kind", sorted(ActKind, key=str))
def test_an_act_read_back_is_the_act_that_was_done(kind: ActKind) -> None:
    """Whoever did it, whenever: a late answer is as late in the replay."""
    act = Act(kind, "cold", "phone", "Ana's phone", 60.0, 12.5)
    if kind is ActKind.MARK:
        act = Act(kind, by="phone", text="vent open")
    record = act_record(act)
    logged = LogLine(record.event, 0.0, None, 1, dict(record.fields), 1)
    assert event_of(logged) == act


def csv_with_a_hole(path: Path, hole_s: float, every_s: float = 10.0) -> Path:
    """An hour of good air, a hole, and an hour more."""
    rows = []
    for n in range(round(7200.0 / every_s)):
        at_s = n * every_s + (hole_s if n * every_s >= 3600.0 else 0.0)
        rows.append(f"{at_s},{20.6 + 0.01 * (n % 7)},{900 + 3 * (n % 5)},{n % 3}")
    path.write_text("time_s,o2_pct,co2_ppm,co_ppm\n" + "\n".join(rows) + "\n")
    return path


def test_a_hole_in_a_csv_is_a_hole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """R21: two hours without a row rang nothing; on the night silence wakes people."""
    path = csv_with_a_hole(tmp_path / "air.csv", 7200.0)
    assert main(["replay", str(path), "--json"]) == 0
    rang = {
        said["alarm"]: said["time_s"]
        for said in map(json.loads, capsys.readouterr().out.splitlines())
        if said["state"] == "unacknowledged" and said["was"] == "normal"
    }
    assert {name: at_s - 3590.0 for name, at_s in rang.items()} == {
        "sensor-stale/o2_pct": pytest.approx(40.0, abs=20.0),
        "sensor-stale/co_ppm": pytest.approx(40.0, abs=20.0),
        "sensor-stale/co2_ppm": pytest.approx(40.0, abs=20.0),
    }


def test_rows_that_are_uneven_are_no_hole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three and a half steps, and half a minute at least, is what a value stays."""
    path = csv_with_a_hole(tmp_path / "air.csv", 20.0)
    assert main(["replay", str(path)]) == 0
    assert capsys.readouterr().out == "No alarm sounded.\n"


def test_a_hole_of_years_takes_no_longer_than_one_of_a_day() -> None:
    """At the usual step while what falls silent may ring, then each half minute."""
    day = list(ticks_of_a_hole(0.0, 86400.0, 1.0))
    assert list(ticks_of_a_hole(0.0, 1e12, 1.0)) == day
    assert day[:3] == [1.0, 2.0, 3.0]
    assert len(day) < 5000
    assert list(ticks_of_a_hole(0.0, 30.0, 1.0)) == []


def test_a_log_without_a_line_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It said nothing, and that all was done."""
    path = tmp_path / "night-2026-01-16.jsonl"
    path.write_bytes(b"?\n")
    assert main(["replay", str(path), "--json"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith(f"cabinvigil: {path}: holds no line of a night's log")
