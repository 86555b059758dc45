"""The log as data: README's own lines read nights of every kind, gzip and all."""

import gzip
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.commands import log
from tests.commands.calling import call
from tests.review import logs

README = Path(__file__).parents[2] / "daemon" / "README.md"
NIGHTS, HOURS, EVERY_S = 30, 0.5, 60.0
READINGS = round(NIGHTS * HOURS * 3600.0 / EVERY_S)
BATCH = 6
"""Lines to a gzip member: the running night is packed batch by batch."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty nights, the last still plain; every kind of line stands in each."""
    folder = tmp_path_factory.mktemp("frames")
    (folder / "nights").mkdir()
    for day in range(NIGHTS):
        start = logs.START + timedelta(days=day)
        name = f"night-{start.date()}.jsonl"
        lines = list(night(day))
        packed = [
            gzip.compress(b"".join(lines[at : at + BATCH]), mtime=0)
            for at in range(0, len(lines), BATCH)
        ]
        is_last = day == NIGHTS - 1
        data = b"".join(lines if is_last else packed)
        (folder / "nights" / (name if is_last else f"{name}.gz")).write_bytes(data)
    return folder


def night(day: int) -> Iterator[bytes]:
    """Oxygen rises by 0.01 % from night to night; keys come and go."""
    start = logs.START + timedelta(days=day)
    yield logs.begin(start, kept={"alarms": {}} if day % 3 else None)
    for n in range(READINGS // NIGHTS):
        more: dict[str, Any] = {"at_least": ["co_ppm"]} if n == 3 else {}
        if day > NIGHTS // 2:
            more["pm2_5_ugm3"] = 6.5  # a part that was fitted later
        values = {"o2_pct": 20.0 + 0.01 * day, "co2_ppm": 900 + n, "co_ppm": 1.0}
        yield logs.line("air", n * EVERY_S, start, **values, **more)
    minutes = [5.0, 9.0, None] if day % 2 else None
    yield logs.line("estimate", 60.0, start, o2_minutes_to_19_5=minutes)
    yield logs.line("mark", 61.0, start, text="roof vent open 2 cm", by="socket")
    yield logs.line("alarm", 62.0, start, alarm="cold", state="normal", first_up=True)
    yield logs.line("fault", 63.0, start, source="mqtt", kind="ok", text="")


def others(folder: Path) -> int:
    """Put beside the nights what stopped those lines (R15), old formats too.

    Returns:
        how many more readings can be read.
    """
    start = logs.START + timedelta(days=NIGHTS)
    lines = list(night(NIGHTS))
    middle = len(lines) // 2
    for name, data in {
        "02-16.jsonl": lines[:middle],
        "02-16.2.jsonl": [
            logs.line("start", 900.0, start, log_format=1, continues=True),
            *lines[middle:],
        ],
        "02-17.jsonl": lines,
        "02-18.jsonl": [*lines, b'{"t":"2026'],
        "02-20.jsonl": [
            logs.begin(start, config={"cabin": "lapwing", "alarm": [1]}, laxer="no"),
            *lines[1:],
        ],
        "02-21.jsonl": [],
        "02-22.jsonl.gz.part": [b"\x1f\x8b"],
    }.items():
        (folder / f"night-2026-{name}").write_bytes(b"".join(data))
    packed = [
        gzip.compress(b"".join(lines[at : at + BATCH]), mtime=0)
        for at in range(0, len(lines), BATCH)
    ]
    (folder / "night-2026-02-17.jsonl.gz").write_bytes(b"".join(packed))
    broken = bytearray(packed[2])
    broken[40] ^= 8
    packed[2] = bytes(broken)
    (folder / "night-2026-02-19.jsonl.gz").write_bytes(b"".join(packed))
    return 5 * READINGS // NIGHTS - BATCH


def in_readme() -> dict[str, str]:
    """README's lines, by the library that each begins with."""
    text = README.read_text(encoding="utf-8")
    [block] = [part.split("```")[0] for part in text.split("```python\n")[1:]]
    return {line.split(".")[0].split(" ")[0]: line for line in block.splitlines()}


def as_pandas(table: Any) -> tuple[int, float]:
    return len(table), table.o2_pct.min()


def as_polars(table: Any) -> tuple[int, float]:
    return table.height, table["o2_pct"].min()


def as_duckdb(table: Any) -> tuple[int, float]:
    [(count, least)] = table.aggregate("count(*), min(o2_pct)").fetchall()
    return count, least


@pytest.mark.parametrize("look", [as_pandas, as_polars, as_duckdb])
@pytest.mark.parametrize("has_others", [False, True])
def test_readme_s_lines_read_a_folder_of_nights(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    look: Callable[[Any], tuple[int, float]],
    has_others: bool,
) -> None:
    """Exactly what README prints, after its `log mend`; and one row for one reading."""
    shutil.copytree(folder / "nights", tmp_path / "nights")
    more = others(tmp_path / "nights") if has_others else 0
    monkeypatch.chdir(tmp_path)
    assert main(["log", "mend", "nights/", "-o", "whole/"]) == 0
    lines, names = in_readme(), {}
    for setting in ("from", "import", "nights"):
        exec(lines[setting], names)
    table = eval(lines[look.__name__.removeprefix("as_")], names)
    assert look(table) == (READINGS + more, pytest.approx(20.0))


def test_readme_s_csv_is_a_table_with_moments(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of nights with all that may stand beside them, in one column of moments."""
    shutil.copytree(folder / "nights", tmp_path / "nights")
    others(tmp_path / "nights")
    monkeypatch.chdir(tmp_path)
    code, out, _ = call(log, "csv", "nights/")
    assert code == 1, "some of it could not be read"
    (tmp_path / "nights.csv").write_text(out)
    text = README.read_text(encoding="utf-8")
    (line,) = re.findall(r"`(pandas\.read_csv.*)\.plot\(", text)
    table = eval(line, {"pandas": pd})
    assert str(table.time.dtype).startswith("datetime64")
    assert table.o2_pct.min() == pytest.approx(20.0)
    assert set(table.night) == {
        str((logs.START + timedelta(days=day)).date()) for day in range(NIGHTS + 1)
    }
