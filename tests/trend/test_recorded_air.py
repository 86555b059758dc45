"""Recorded air: falls that were real, faults that were real, a flat control.

Data and licences: tests/data/fsri_gasburner_house (MIT), tests/data/respr_o2 (GPL-3),
tests/data/few_dwelling_co2 (GPL-3); each README says what was kept.
"""

import csv
import gzip
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.trend.model import (
    CrossingQuery,
    Observation,
    TrendEstimate,
    TrendSetup,
)
from cabinvigil.daemon.trend.zone_filter import estimate, start, update
from tests.bench.lines import LineFit

DATA = Path(__file__).parents[1] / "data"
ASKS = (
    CrossingQuery("o2_pct", 19.55, "below", 1320.0),
    CrossingQuery("o2_pct", 19.55, "below", 300.0),
)
Row = tuple[float, float | None, float | None]


def table(folder: str, name: str) -> Iterator[dict[str, str]]:
    path = DATA / folder / name
    if path.suffix == ".gz":
        with gzip.open(path, "rt", newline="") as file:
            yield from csv.DictReader(file)
    else:
        with path.open(newline="") as file:
            yield from csv.DictReader(file)


def room(experiment: str, name: str) -> list[Row]:
    """One room of a burner test; what no cell can read is left out, as the core does
    (exp17: single samples of -6 %)."""
    rows: list[Row] = []
    for row in table("fsri_gasburner_house", f"{experiment}.csv.gz"):
        o2, co2 = row.get(f"{name}_o2_pct"), row.get(f"{name}_co2_pct")
        if o2 is None:
            return []
        o2_pct = float(o2) if o2 and 0.1 <= float(o2) <= 30.0 else None
        rows.append((float(row["time_s"]), o2_pct, float(co2) * 1e4 if co2 else None))
    return rows


def held_crossing(rows: Iterable[Row]) -> float | None:
    """The first moment from which O2 is at or below 19.5 for ten seconds."""
    run = 0
    for t, o2, _ in rows:
        if o2 is not None:
            run = run + 1 if o2 <= 19.5 else 0
            if run == 10:
                return t - 9.0
    return None


def follow(
    rows: Iterable[Row], asks: tuple[CrossingQuery, ...] = ASKS
) -> Iterator[TrendEstimate]:
    setup = TrendSetup(asks=asks, outdoor_co2_ppm=0.0)
    state = start(setup)
    for t, o2, co2 in rows:
        state = update(setup, state, t, Observation(o2, co2))
        found = estimate(setup, state, t)
        if found is not None and found.at_s == t:
            yield found


def first_ring(rows: Iterable[Row]) -> float | None:
    """When the projection rule would ring with its settings."""
    for found in follow(rows):
        if found.o2_fallen_pct < 0.15 and found.o2_pct > 20.0:
            continue
        if found.crossings[0].probability >= 0.98:
            return found.at_s
        if found.crossings[1].probability >= 0.4:
            return found.at_s
    return None


ROOMS = [
    (exp, name)
    for exp in ("exp15", "exp16", "exp17", "exp18", "exp20")
    for name in ("bedroom2", "bedroom3", "livingroom")
    if not (exp == "exp20" and name == "livingroom")
]


@pytest.mark.parametrize("use_co2", [True, False])
@pytest.mark.parametrize(("experiment", "name"), ROOMS)
def test_a_burner_in_a_house(experiment: str, name: str, use_co2: bool) -> None:
    """Every room that crosses 19.5 % is projected before it crosses, though the burner
    is a hundred times a heater's; no room that stays above 20.2 % rings."""
    rows = [(t, o2, co2 if use_co2 else None) for t, o2, co2 in room(experiment, name)]
    assert rows
    crossing = held_crossing(rows)
    # Nothing after the crossing can make its projection earlier.
    ring = first_ring(
        rows if crossing is None else [r for r in rows if r[0] < crossing]
    )
    lowest = sorted(o2 for _, o2, _ in rows if o2 is not None)[60]
    if crossing is not None:
        assert ring is not None
        assert ring < crossing
    elif lowest > 20.2:
        assert ring is None


def test_the_flat_control_never_rings() -> None:
    """5.7 h of almost nothing (0.08 an hour), scaled to start at 20.9: no ring."""
    raw = [
        (float(r["time_s"]), float(r["o2_pct_air_sat"]))
        for r in table("respr_o2", "background_con.csv.gz")
    ]
    scale = 20.9 / (sum(v for _, v in raw[:60]) / 60.0)
    highest = 0.0
    for found in follow((t, v * scale, None) for t, v in raw):
        highest = max(highest, *(c.probability for c in found.crossings))
    assert highest < 0.3


@pytest.mark.parametrize(
    ("limit", "crossing_s", "lead_min"),
    [
        (19.5, 2940.0, 15.0),
        (19.5, 2940.0, 30.0),
        (19.3, 4280.0, 15.0),
        (19.3, 4280.0, 30.0),
        (19.3, 4280.0, 60.0),
        (19.0, 6509.0, 15.0),
        (19.0, 6509.0, 30.0),
    ],
)
def test_a_real_fall_is_projected(
    limit: float, crossing_s: float, lead_min: float
) -> None:
    """A sealed vessel's fall of 0.5 an hour in steps of 0.02: the interval, given 15,
    30 and 60 min before, holds the true moment; the straight line through ten minutes
    is printed beside.  Left out: 60 min before 19.0, where the fall paused and ours
    says 78 min or never, the line 71.

    Crossings: first 61 s median below the limit, held for a minute (our reading).
    """
    now = crossing_s - lead_min * 60.0
    rows: list[Row] = [
        (float(r["time_s"]), float(r["o2_pct_air_sat"]) * 0.2095, None)
        for r in table("respr_o2", "sardine.csv.gz")
        if float(r["time_s"]) <= now
    ]
    found = list(follow(rows, (CrossingQuery("o2_pct", limit, "below", 1200.0),)))[-1]
    fit = LineFit(600.0)
    for t, o2, _ in rows:
        fit.add(t, o2 or 0.0)
    line = fit.at_end()
    by_line = (line[0] - limit) / -line[1] / 60.0 if line and line[1] < 0 else None
    print(f"{limit} {lead_min:.0f} min before: ours {found.o2_minutes}, line {by_line}")
    assert found.o2_minutes is not None
    low, _, high = found.o2_minutes
    assert low is not None
    assert low <= lead_min * 1.1  # the crossing's own moment is uncertain by minutes
    assert high is None or high >= lead_min * 0.9


def test_a_dwelling_s_decay() -> None:
    """The air changes of four decays, every 5 min, lie within our interval.

    Reference: the authors' own code on their example day, weighted and exponential.
    """
    rows = [
        (float(r["time_s"]), 420.0 + float(r["co2excess_mean_acde_ppm"]))
        for r in table("few_dwelling_co2", "excess_5min.csv")
    ]
    setup = TrendSetup()
    for window in table("few_dwelling_co2", "reference_decay_rates.csv"):
        state, t = start(setup), 0.0
        for t, co2 in rows:
            if t <= float(window["end_s"]):
                state = update(setup, state, t, Observation(None, co2))
        found = estimate(setup, state, float(window["end_s"]))
        assert found is not None
        low, _, high = found.air_changes_per_h
        assert low <= float(window["weighted_per_h"]) <= high
        assert low <= float(window["exponential_per_h"]) <= high
        assert high < 8.0  # an interval that holds everything would tell nothing
