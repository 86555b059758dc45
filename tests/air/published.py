"""The published figures in tests/data/cases, by key."""

import csv
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[1] / "data" / "cases"


@cache
def _tables() -> dict[str, Any]:
    with (FOLDER / "check_values.toml").open("rb") as file:
        return tomllib.load(file)


@cache
def cases() -> tuple[dict[str, Any], ...]:
    with (FOLDER / "cases.toml").open("rb") as file:
        return tuple(tomllib.load(file)["case"])


def value(key: str, field: str = "value") -> Any:
    return _tables()[key][field]


def rows(key: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = value(key, "rows")
    assert found, f"{key} has no rows: the extract is damaged"
    return found


def decay() -> list[tuple[float, float]]:
    with (FOLDER / "b4b_room917810_decay.csv").open() as file:
        return [(float(r["time_s"]), float(r["co2_ppm"])) for r in csv.DictReader(file)]
