"""Recordings whose columns stand still: at an end of range, at zero, or dead."""

import json
import random
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main

Row = dict[str, float]


def rung(
    path: Path, rows: list[Row], capsys: pytest.CaptureFixture[str]
) -> dict[str, str]:
    """Replay rows of a CSV; return the gravest that each alarm rang as."""
    keys = list(rows[0])
    lines = [",".join(keys), *(",".join(f"{row[k]:g}" for k in keys) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert main(["replay", str(path), "--json"]) == 0
    order = ["fault", "low", "medium", "high"]
    found: dict[str, str] = {}
    for line in map(json.loads, capsys.readouterr().out.splitlines()):
        if line["event"] == "alarm" and line["state"] == "unacknowledged":
            was = found.get(line["alarm"], "fault")
            found[line["alarm"]] = max(was, line["priority"], key=order.index)
    return found


def test_a_column_at_the_end_of_its_range_is_no_other_gas(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """CO2 stands at 40 000 ppm and humidity at 100 %, while oxygen falls on."""
    rows = []
    for second in range(0, 5400, 10):
        excess_ppm = 25.0 * max(0, second - 300)
        rows.append(
            {
                "time_s": float(second),
                "o2_pct": round(20.8 - 1.55e-4 * excess_ppm * 0.7, 2),
                "co2_ppm": min(430.0 + excess_ppm * 0.7, 40_000.0),
                "co_ppm": 0.0,
                "rh_pct": min(60.0 + second / 60.0, 100.0),
                "temp_c": round(12.0 + second / 300.0, 1),
            }
        )
    found = rung(tmp_path / "shut.csv", rows, capsys)
    assert found["o2-low"] == found["co2-level"] == "high"
    assert not [
        one for one in found if one.startswith(("sensor-", "displaced", "gases"))
    ]


def test_a_whole_night_of_clean_still_air_rings_nothing_that_wakes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A column's own step is not known: it may stand all night; CO rests at zero."""
    rows = [
        {"time_s": 60.0 * minute, "o2_pct": 20.6, "co2_ppm": 800.0, "co_ppm": 0.0}
        for minute in range(9 * 60)
    ]
    found = rung(tmp_path / "still.csv", rows, capsys)
    assert set(found.values()) <= {"fault"}
    assert "sensor-stuck/co_ppm" not in found


def test_oxygen_that_stands_while_co2_climbs_is_watched_by_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The air has moved without it: people are woken, as for a silent part."""
    rows = [
        {
            "time_s": 10.0 * tick,
            "o2_pct": 20.2,
            "co2_ppm": 800.0 + 8.0 * tick,
            "co_ppm": 0.0,
        }
        for tick in range(360)
    ]
    found = rung(tmp_path / "dead.csv", rows, capsys)
    assert found["sensor-stuck/o2_pct"] == "medium"


def noisy(at_s: float, o2_pct: float, co_ppm: float, rng: random.Random) -> Row:
    """Readings of parts whose noise is larger than their step."""
    return {
        "time_s": at_s,
        "o2_pct": round(o2_pct + rng.gauss(0.0, 0.02), 2),
        "co_ppm": round(max(co_ppm + rng.gauss(0.0, 0.3), 0.0), 1),
    }


def test_a_column_that_flickered_and_stands_has_died(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Oxygen freezes at 19.8 % while it truly falls: people are woken."""
    rng, rows = random.Random(4), []
    for second in range(0, 5400, 2):
        true_pct = 20.7 - 2.0 * max(0, second - 600) / 3600.0
        rows.append(noisy(float(second), true_pct, 3.0, rng))
        if true_pct < 19.8:
            rows[-1]["o2_pct"] = 19.8
    found = rung(tmp_path / "frozen.csv", rows, capsys)
    assert found["o2-projected"] in ("medium", "high")
    assert found["sensor-stuck/o2_pct"] == "medium"


@pytest.mark.parametrize(("ppm", "weight"), [(29.0, "medium"), (0.0, None)])
def test_carbon_monoxide_that_stands_away_from_zero_has_died(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    ppm: float,
    weight: str | None,
) -> None:
    """29.0 ppm for half an hour after an hour of flicker; 0.0 is clean air."""
    rng = random.Random(5)
    rows = [noisy(float(second), 20.6, ppm, rng) for second in range(0, 5400, 5)]
    for row in rows[720:]:
        row["co_ppm"] = ppm
    found = rung(tmp_path / "co.csv", rows, capsys)
    assert found.get("sensor-stuck/co_ppm") == weight
