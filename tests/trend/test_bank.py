"""The bank: its filter against published recursions, its jumps against made ones."""

import random

import pytest

from cabinvigil.daemon.trend import bank
from cabinvigil.daemon.trend.bank import USUAL, Bank
from cabinvigil.daemon.trend.grid import Grid, make_grid


def learn(z: float, zz: float, seen: float, var: float) -> tuple[float, float]:
    """One reading into a part of which only the reading itself is of interest."""
    part = (1.0, 0, z, 0.0, z, zz, 0.0, zz, 0.0, 0.0, zz)
    after = bank._learn((part,), seen, var, USUAL)[0]
    return after[4], after[10]


# Durbin & Koopman, Time Series Analysis by State Space Methods: the Nile with the
# variances 15099 and 1469.1 (variances from memory; rows worked out with statsmodels).
NILE = (
    (1120.0, 1118.3115, 15076.2364),
    (1160.0, 1140.1084, 7894.5575),
    (963.0, 1072.316, 5779.4974),
)


def test_reads_the_nile_as_the_book_does() -> None:
    """Filtered level and variance of the first years of the Nile series."""
    level, var = 0.0, 1e7
    for flow, level_then, var_then in NILE:
        level, var = learn(level, var, flow, 15099.0)
        assert level == pytest.approx(level_then, abs=1e-3)
        assert var == pytest.approx(var_then, abs=1e-3)
        var += 1469.1


def test_variance_of_a_constant() -> None:
    """Welch & Bishop, UNC TR 95-041, pp. 11-15: Q = 1e-5, R = 0.01, start 0 and 1.

    Variances worked out from their recursion (start recalled from memory).
    """
    known = {1: 0.009900991079, 10: 0.001027316001, 50: 0.000339210818}
    level, var = 0.0, 1.0
    for step in range(1, 51):
        level, var = learn(level, var + 1e-5, -0.37727, 0.01)
        if step in known:
            assert var == pytest.approx(known[step], abs=1e-9)
    assert level == pytest.approx(-0.37727, abs=2e-3)


def weight(cells: Bank) -> float:
    return sum(part[0] for cell in cells for part in cell)


def feed(grid: Grid, values: list[float], noise: float = 10.0) -> Bank:
    cells = bank.begin(grid, values[0], noise)
    for i, value in enumerate(values[1:], 1):
        cells = bank.with_changes(grid, cells)
        cells = bank.pass_time(grid, cells)
        if i % 6 == 0:
            cells = bank.slide(grid, cells, 6)
        cells = bank.read(cells, value, noise)
    return cells


def made(per_h: float, source: float, steps: int, lit: int = 12) -> list[float]:
    """Readings of a burner lit at step `lit`, through a lag of 25 s."""
    rng = random.Random(4)
    k, c, z, out = per_h / 3600.0, 100.0, 100.0, []
    breath = 100.0 * k
    for step in range(steps):
        out.append(z + rng.gauss(0.0, 10.0))
        for _ in range(100):
            c += 0.1 * (breath + (source if step >= lit else 0.0) - k * c)
            z += 0.1 * (c - z) / 25.0
    return out


def believed_per_h(grid: Grid, cells: Bank, low: float, high: float) -> float:
    parts = bank.all_parts(grid, cells)
    return sum(p[0] for k, p in parts if low <= k * 3600.0 <= high)


@pytest.mark.parametrize(("per_h", "low", "high"), [(0.3, 0.0, 1.0), (10.0, 5.0, 20.1)])
def test_curvature_tells_shut_from_vented(
    per_h: float, low: float, high: float
) -> None:
    """Lit at the same rate, six minutes on, the bank knows a shut cabin from a
    vented one."""
    grid = make_grid(10.0, (25.0,))
    cells = feed(grid, made(per_h, 5.0, 48))
    assert believed_per_h(grid, cells, low, high) > 0.9


def test_a_lit_burner_is_seen_within_a_minute() -> None:
    """One minute after lighting, the source is known to a quarter of itself."""
    grid = make_grid(10.0, (25.0,))
    cells = feed(grid, made(1.0, 6.0, 19))
    source = sum(p[0] * p[3] for _, p in bank.all_parts(grid, cells))
    assert source == pytest.approx(6.0, rel=0.25)


def test_an_opened_vent_moves_the_belief() -> None:
    """0.5 an hour for an hour, then 8: after ten minutes the belief has moved."""
    grid = make_grid(10.0, (2.0,))
    rng = random.Random(7)
    c, values = 0.0, []
    for step in range(420):
        k = (0.5 if step < 360 else 8.0) / 3600.0
        values.append(c + rng.gauss(0.0, 10.0))
        for _ in range(10):
            c += 2.0 - k * c
    before = feed(grid, values[:360])
    assert believed_per_h(grid, before, 0.25, 1.1) > 0.8
    assert believed_per_h(grid, feed(grid, values), 4.0, 16.0) > 0.8


def test_weights_stay_together_and_parts_stay_few() -> None:
    """Weights sum to 1 and the bank stays bounded, whatever is read."""
    grid = make_grid(10.0, (2.0, 30.0))
    rng = random.Random(11)
    cells = bank.begin(grid, 500.0, 10.0)
    for i in range(300):
        cells = bank.pass_time(grid, bank.with_changes(grid, cells))
        if i % 6 == 0:
            cells = bank.slide(grid, cells, 6)
        cells = bank.read(cells, rng.choice((0.0, 500.0, 4e4, 520.0)), 10.0)
        # What is forgotten is at most 1e-5 a part.
        assert weight(cells) == pytest.approx(1.0, abs=2e-3)
        most = 1 + 2 * (USUAL.kept_steps + 1)
        assert max(len(cell) for cell in cells) <= most
        for cell in cells:
            for part in cell:
                assert part[5] > 0.0
                assert part[8] > 0.0
                assert part[10] > 0.0


def test_a_lag_that_does_not_fit_is_given_up() -> None:
    """After a clear lighting through 25 s of lag, 120 s of lag has no weight left."""
    grid = make_grid(10.0, (25.0, 120.0))
    cells = feed(grid, made(1.0, 8.0, 120))
    n_k = len(grid.k_per_s)
    assert weight(cells[n_k:]) < 1e-3
    assert weight(cells[:n_k]) > 0.99


def test_nothing_read_widens_the_belief() -> None:
    """While no reading comes, doubt grows, and weights do not move."""
    grid = make_grid(10.0, (25.0,))
    cells = feed(grid, made(1.0, 5.0, 60))
    later = bank.pass_time(grid, cells)
    for cell, after in zip(cells, later, strict=True):
        for part, then in zip(cell, after, strict=True):
            assert then[0] == part[0]
            assert then[8] >= part[8]


def test_warmer_air_holds_fewer_moles() -> None:
    """A flame's ppm a second grow as the kelvin do, and its spread with them; what the
    air holds stays: mole fractions know no temperature."""
    grid = make_grid(10.0, (20.0,))
    before = bank.begin(grid, 500.0, 10.0)
    warmed = bank.warm(before, 1.1)
    for cell, after in zip(before, warmed, strict=True):
        for part, now in zip(cell, after, strict=True):
            assert now[:3] == part[:3]
            assert now[3] == pytest.approx(1.1 * part[3])
            assert now[6] == pytest.approx(1.1 * part[6])
            assert now[8] == pytest.approx(1.21 * part[8])
            assert (now[4], now[5], now[7], now[10]) == (
                part[4],
                part[5],
                part[7],
                part[10],
            )
