"""`cabinvigil log csv`: rows that a person plots the next day."""

import csv
import gzip
import io
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.commands import log
from tests.commands.calling import call
from tests.contract import written
from tests.review import logs

Rows = list[dict[str, Any]]


def rows_of(*words: object) -> Rows:
    """What it prints, each row held to the contract; it must have ended well."""
    code, out, err = call(log, "csv", *words)
    assert (code, err) == (0, "")
    return read(out)


def read(text: str) -> Rows:
    rows = [
        {key: _cell(key, value) for key, value in row.items()}
        for row in csv.DictReader(io.StringIO(text))
    ]
    judge = written.outputs()["log csv"]
    for row in rows:
        judge(row)
    return rows


def _cell(key: str, text: str) -> str | float | int | None:
    if not text:
        return None
    if key in {"time", "night", "run", "alarms", "priority", "at_least"}:
        return text
    return int(text) if key in {"time_s", "emulated"} else float(text)


def alarm(
    at_s: float, state: str, was: str, name: str = "o2-low", priority: str = "medium"
) -> bytes:
    return logs.line(
        "alarm", at_s, alarm=name, state=state, was=was, priority=priority,
        text="Too little oxygen.", since_s=at_s, first_up=True, evidence={},
    )  # fmt: skip


def test_a_folder_of_folders_names_one_that_holds_nights(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    logs.write(tmp_path / "a", logs.begin() + logs.air(logs.still_air(0.0, 600.0)))
    code, out, err = call(log, "csv", tmp_path)
    assert (code, out) == (2, "")
    assert f"give one of its folders, such as {tmp_path / 'a'};" in err


def test_a_row_has_the_priority_of_its_moment(tmp_path: Path) -> None:
    """A note that wakes people ten minutes later did not wake them before."""
    data = (
        logs.begin(emulated=True)
        + logs.air(logs.still_air(0.0, 600.0))
        + alarm(600.0, "unacknowledged", "normal", "co-level", "low")
        + logs.air(logs.still_air(600.0, 1200.0))
        + alarm(1200.0, "unacknowledged", "unacknowledged", "co-level", "medium")
        + logs.air(logs.still_air(1200.0, 1800.0))
    )
    rows = rows_of(logs.write(tmp_path, data))
    assert [row["priority"] for row in rows] == (
        [None] * 20 + ["low"] * 20 + ["medium"] * 20
    )


def test_a_row_has_its_moment_night_run_and_what_stood(tmp_path: Path) -> None:
    """R22: none of them was in a row, and which alarm stands had to be worked out."""
    data = (
        logs.begin(emulated=True)
        + logs.air(logs.still_air(0.0, 600.0, o2_pct=19.4))
        + alarm(600.0, "unacknowledged", "normal")
        + logs.air(logs.still_air(600.0, 1200.0, o2_pct=19.4))
        + alarm(1200.0, "normal", "unacknowledged")
        + logs.air(logs.still_air(1200.0, 1800.0))
    )
    rows = rows_of(logs.write(tmp_path, data))
    assert len(rows) == 60
    first, ringing = rows[0], rows[25]
    assert first["time"] == "2026-01-16T22:00:00+01:00"
    assert first["night"] == "2026-01-16"
    assert first["run"] == "2026-01-16T21:00:00Z"
    assert first["emulated"] == 1
    assert (first["alarms"], first["priority"]) == (None, None)
    assert (ringing["alarms"], ringing["priority"]) == ("o2-low", "medium")
    assert [row["time_s"] for row in rows if row["alarms"]] == list(
        range(600, 1200, 30)
    )
    assert first["o2_pct"] == pytest.approx(19.4, abs=0.1)


def test_a_hole_is_rows_without_a_value(tmp_path: Path) -> None:
    """No library draws a line across them; and nobody is said to have watched."""
    data = (
        logs.begin()
        + logs.air(logs.still_air(0.0, 600.0))
        + alarm(595.0, "unacknowledged", "normal")
        + logs.air(logs.still_air(7800.0, 8400.0))
    )
    rows = rows_of(logs.write(tmp_path, data))
    assert [row["time_s"] for row in rows] == list(range(0, 8400, 30))
    hole = rows[20:260]
    silent = {key for row in hole for key, value in row.items() if value is not None}
    assert silent == {"time", "time_s", "night"}
    assert rows[260]["o2_pct"] is not None


def test_a_value_in_doubt_is_a_hole_too(tmp_path: Path) -> None:
    """Warming up: it may raise an alarm, and is no measurement."""
    cold = [
        (float(at), {"o2_pct": 20.5, "co_ppm": 90.0, "doubtful": ["co_ppm"]})
        for at in range(0, 300, 10)
    ]
    data = logs.begin() + logs.air(cold) + logs.air(logs.still_air(300.0, 600.0))
    rows = rows_of(logs.write(tmp_path, data))
    assert [row["co_ppm"] is None for row in rows] == [True] * 10 + [False] * 10


def test_a_second_part_renames_nothing(tmp_path: Path) -> None:
    """R22: in the log the series of a lone part gets its name once another joins."""
    logs.write(tmp_path, logs.begin() + logs.air(logs.still_air(0.0, 600.0)))
    start = logs.START + timedelta(days=1)
    two = [
        (float(at), {"o2_pct__bunk": 20.4, "o2_pct__door": 20.1, "temp_c_glass": 3.0})
        for at in range(0, 600, 10)
    ]
    logs.write(
        tmp_path,
        logs.begin(start) + logs.air(two, start),
        "night-2026-01-17.jsonl",
    )
    rows = rows_of(tmp_path)
    assert list(rows[0])[9:] == [
        "o2_pct", "o2_pct__bunk", "o2_pct__door", "co_ppm", "co2_ppm", "temp_c_glass"
    ]  # fmt: skip
    assert {row["night"] for row in rows} == {"2026-01-16", "2026-01-17"}
    assert all(row["o2_pct"] is not None for row in rows)
    last = rows[-1]
    assert (last["o2_pct"], last["o2_pct__bunk"]) == (20.1, 20.4), "the least of both"


def test_of_a_gas_the_worst_stays_and_of_the_rest_the_mean(tmp_path: Path) -> None:
    values = {"co_ppm__a": 3.0, "co_ppm__b": 40.0, "temp_c__a": 10.0, "temp_c__b": 12.0}
    data = logs.begin() + logs.air((float(at), values) for at in range(0, 60, 10))
    first = rows_of(logs.write(tmp_path, data))[0]
    assert (first["co_ppm"], first["temp_c"]) == (40.0, 11.0)


def test_a_clock_that_was_set_is_marked(tmp_path: Path) -> None:
    """R22: nothing recorded that; the run is dated by the clock as it was last set."""
    early = logs.START - timedelta(hours=2)
    data = (
        logs.begin(early)
        + logs.air(logs.still_air(0.0, 600.0), early)
        + logs.air(logs.still_air(600.0, 1200.0), logs.START)
    )
    rows = rows_of(logs.write(tmp_path, data))
    marked = [row for row in rows if row["clock_step_s"] is not None]
    assert [(row["time_s"], row["clock_step_s"]) for row in marked] == [(600, 7200.0)]
    assert datetime.fromisoformat(str(rows[0]["time"])) == logs.START


def test_without_a_clock_rows_count_from_the_first(tmp_path: Path) -> None:
    data = logs.begin(None) + logs.air(logs.still_air(0.0, 600.0), None)
    rows = rows_of(logs.write(tmp_path, data))
    assert {(row["time"], row["night"], row["run"]) for row in rows} == {
        (None, None, None)
    }
    assert rows[-1]["time_s"] == 570


def test_rare_readings_make_long_rows(tmp_path: Path) -> None:
    """A tick of a minute: else each second row would be a hole."""
    config = logs.config()
    config["watch"]["tick_s"] = 60.0
    air = logs.air(logs.still_air(0.0, 3600.0, every_s=60.0))
    rows = rows_of(logs.write(tmp_path, logs.begin(config=config) + air))
    assert len(rows) == 60
    assert all(row["o2_pct"] is not None for row in rows)


def test_what_others_wrote_is_no_formula(tmp_path: Path) -> None:
    """A spreadsheet works out a cell that begins with an equals sign."""
    data = (
        logs.begin()
        + alarm(1.0, "unacknowledged", "normal", '=HYPERLINK("http://x","y")')
        + logs.air(logs.still_air(0.0, 60.0, **{"o2_pct__=1+1": 20.0}))
    )
    _, out, _ = call(log, "csv", logs.write(tmp_path, data))
    assert "=" not in out


def test_what_could_not_be_read_is_told_and_the_rest_printed(tmp_path: Path) -> None:
    """On the other stream, and by the exit code."""
    whole = logs.begin() + logs.air(logs.still_air(0.0, 600.0))
    logs.write(tmp_path, whole + b"?\n", "night-2026-01-16.jsonl")
    (tmp_path / "night-2026-01-15.jsonl").write_bytes(b"")
    packed = gzip.compress(whole[:-200], mtime=0)
    (tmp_path / "night-2026-01-14.jsonl.gz").write_bytes(packed[:-30])
    code, out, err = call(log, "csv", tmp_path)
    assert code == 1
    assert len(read(out)) > 20
    assert "not a line of this log; left out" in err
    assert "night-2026-01-15.jsonl: holds no line of a night's log" in err


@pytest.mark.parametrize("data", [b"", b"\xff" * 100, b"{}\n"])
def test_where_nothing_can_be_read_it_is_a_sentence(
    tmp_path: Path, data: bytes
) -> None:
    path = tmp_path / "night-2026-01-16.jsonl"
    path.write_bytes(data)
    for what in (path, tmp_path):
        code, out, err = call(log, "csv", what)
        assert (code, out) == (2, "")
        assert err == (
            f"cabinvigil: {what}: holds no line of a night's log; give a folder of "
            "nights, or a file like night-2026-01-16.jsonl\n"
        )


def test_more_series_than_any_cabin_has_are_told(tmp_path: Path) -> None:
    rows = [
        (float(n), {f"co_ppm__p{n * 60 + k}": 1.0 for k in range(60)})
        for n in range(20)
    ]
    code, out, err = call(
        log, "csv", logs.write(tmp_path, logs.begin() + logs.air(rows))
    )
    assert code == 1
    assert "it has 1000 series or more; the others are left out" in err
    assert len(out.splitlines()[0].split(",")) < 1100
