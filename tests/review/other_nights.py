"""Nights with dust and indices, made line by line."""

from pathlib import Path

from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.review.morning import Morning, morning
from tests.review import logs

HOURS = 8.0
EVERY_S = 30.0


def night(
    folder: Path,
    *,
    dust: tuple[float, float] = (8.0, 8.0),
    co: tuple[float, float] | None = (1.0, 1.0),
    rh_pct: float = 60.0,
    voc: tuple[float, float] = (100.0, 100.0),
    nox: tuple[float, float] = (1.0, 1.0),
    at_h: tuple[float, float] = (2.0, 2.5),
    name: str = "night-2026-01-16.jsonl",
) -> Path:
    """A quiet night; each pair is what is usual, and what is between two hours."""
    rows: list[logs.Row] = []
    for at_s, values in logs.still_air(0.0, HOURS * 3600.0, EVERY_S, rh_pct=rh_pct):
        in_it = at_h[0] <= at_s / 3600.0 < at_h[1]
        kept = {key: one for key, one in values.items() if key != "co_ppm"}
        if co is not None:
            kept["co_ppm"] = co[in_it]
        kept["pm2_5_ugm3"] = dust[in_it]
        kept["voc_index"], kept["nox_index"] = voc[in_it], nox[in_it]
        rows.append((at_s, kept))
    return logs.write(folder, logs.begin(config=logs.config()) + logs.air(rows), name)


def account(path: Path) -> Morning:
    return morning(read_tape([path]))
