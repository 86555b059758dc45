"""The log as data: README's own lines read thirty nights as they are, gzip and all."""

import gzip
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.review import logs

README = Path(__file__).parents[2] / "README.md"
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
def test_readme_s_line_reads_thirty_nights_as_they_are(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    look: Callable[[Any], tuple[int, float]],
) -> None:
    """Exactly what README prints, from a folder beside `nights`."""
    monkeypatch.chdir(folder)
    lines, names = in_readme(), {}
    for setting in ("from", "import", "nights"):
        exec(lines[setting], names)
    table = eval(lines[look.__name__.removeprefix("as_")], names)
    assert look(table) == (READINGS, pytest.approx(20.0))
