"""`replay` of several nights and of folders: each as by itself, under its name."""

import json
from pathlib import Path

from cabinvigil.daemon.commands import replay
from tests.commands.calling import call
from tests.review import logs

FALLS = [
    (10.0 * n, {"o2_pct": 20.9 - 0.01 * n, "co2_ppm": 500.0 + 9.0 * n, "co_ppm": 0.0})
    for n in range(200)
]


def folder(path: Path) -> Path:
    for day, rows in ((15, logs.still_air(0.0, 1800.0)), (16, FALLS)):
        start = logs.START.replace(day=day)
        data = logs.begin(start) + logs.air(rows, start)
        logs.write(path, data, f"night-2026-01-{day}.jsonl")
    (path / "night-2026-01-17.jsonl").write_text("no line of a night\n")
    return path


def alone(nights: Path, day: int, *words: str) -> str:
    return call(replay, nights / f"night-2026-01-{day}.jsonl", *words)[1]


def test_a_folder_is_all_its_nights_and_each_rings_as_by_itself(tmp_path: Path) -> None:
    nights = folder(tmp_path)
    code, out, err = call(replay, nights)
    assert code == 0
    assert "night-2026-01-17.jsonl: holds no line" in err
    assert "skipped" in err
    first, second = alone(nights, 15), alone(nights, 16)
    assert "danger  too little oxygen: active" in second
    assert out == f"2026-01-15\n{first}2026-01-16\n{second}"


def test_as_data_each_line_names_its_night(tmp_path: Path) -> None:
    nights = folder(tmp_path)
    code, out, _ = call(replay, nights, "--json")
    assert code == 0
    rows = [json.loads(line) for line in out.splitlines()]
    assert {row.pop("night") for row in rows} == {"2026-01-15", "2026-01-16"}
    lines = alone(nights, 15, "--json") + alone(nights, 16, "--json")
    assert rows == [json.loads(line) for line in lines.splitlines()]
