"""The log as data: the README's one-liners read nights as they are, gzip and all."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.review import logs

NIGHTS, HOURS = 4, 1.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four nights, the last still plain; each with alarms, marks and a start."""
    folder = tmp_path_factory.mktemp("frames")
    for day in range(NIGHTS):
        start = logs.START + timedelta(days=day)
        data = logs.begin(start) + logs.air(
            logs.still_air(0.0, HOURS * 3600.0, o2_pct=20.0 + 0.1 * day), start
        )
        data += logs.line("mark", 3600.0, start, text="vent", by="socket")
        data += logs.line(
            "alarm", 3601.0, start, alarm="cold", state="unacknowledged", since_s=1.0
        )
        ending = "jsonl" if day == NIGHTS - 1 else "jsonl.gz"
        logs.write(folder, data, f"night-2026-01-{16 + day}.{ending}")
    return folder


def test_pandas_reads_nights_as_they_are(folder: Path) -> None:
    """One line; pandas sees the gzip by its ending."""
    import pandas as pd

    nights = pd.concat(
        pd.read_json(one, lines=True) for one in sorted(folder.glob("night-*.jsonl*"))
    )
    air = nights[nights.event == "air"]
    assert len(air) == NIGHTS * HOURS * 360
    assert air.o2_pct.min() == pytest.approx(20.0, abs=0.1)
    assert pd.to_datetime(air.t).max().hour == 21


def test_polars_reads_nights_as_they_are(folder: Path) -> None:
    """One line; rows of all kinds share a table."""
    import polars as pl

    nights = pl.concat(
        [
            pl.read_ndjson(one, infer_schema_length=None)
            for one in sorted(folder.glob("night-*.jsonl*"))
        ],
        how="diagonal_relaxed",
    )
    air = nights.filter(pl.col("event") == "air")
    assert air.height == NIGHTS * HOURS * 360
    low = air["o2_pct"].min()
    assert low == pytest.approx(20.0, abs=0.1)


def test_duckdb_reads_nights_as_they_are(folder: Path) -> None:
    """One query over all nights at once."""
    import duckdb

    [(count, low)] = duckdb.sql(
        f"select count(*), min(o2_pct) from read_json_auto('{folder}/night-*.jsonl*', "
        "format='newline_delimited', union_by_name=true, "
        "maximum_object_size=4194304) where event = 'air'"
    ).fetchall()
    assert count == NIGHTS * HOURS * 360
    assert low == pytest.approx(20.0, abs=0.1)
