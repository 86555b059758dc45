"""What could be had at best: a reader who is told all but source and ventilation.

He knows the parts' lag, gain and noise, the moments at which something changes and
what it is, the law that the air obeys, and how much O2 goes for each CO2; what he does
not know is how much burns and how much air moves, and for these he has the very ranges
that the nights are drawn from.  So he bounds what any reader of the same two parts can
reach, who has to find out all the rest as well.  Only for the nights of `nights`, whose
law is the bank's own.
"""

import math
from collections.abc import Iterator

from cabinvigil.daemon.trend.bank import (
    SETTLED,
    Bank,
    Component,
    Habits,
    pass_time,
    read,
)
from cabinvigil.daemon.trend.grid import Grid, step_coefficients
from tests.bench.nights import ASKED_S, DT_S, LIMIT_PCT, Night

EXACT = Habits(
    wander_abs=1e-5,
    wander_rel=0.002,
    mixing_ppm=0.5,
    lag_doubt=0.0,
    temper=1.0,
    floor=1e-12,
    surprise=1e-12,
    kept_steps=0,
)
"""The law holds exactly, and readings are independent, for these nights are so made."""
VENTILATIONS = 40
SLOWEST_PER_H, FASTEST_PER_H = 0.05, 40.0
"""0.15 to 15 as the nights are drawn, and room for what changes make of it."""
SOURCE_PPM_S = 6.0
"""Spread of a source: 0.6 to 3 kW in 4 to 14 m3 make 1.4 to 24 ppm/s."""
MARGIN_PCT = 0.05


def _grid(lag_s: float) -> Grid:
    ratio = (FASTEST_PER_H / SLOWEST_PER_H) ** (1.0 / (VENTILATIONS - 1))
    per_s = tuple(SLOWEST_PER_H / 3600.0 * ratio**i for i in range(VENTILATIONS))
    cells = tuple(step_coefficients(k, lag_s, DT_S) for k in per_s)
    return Grid(DT_S, per_s, (lag_s,), cells)


def _begin(grid: Grid, seen_ppm: float, noise_ppm: float) -> Bank:
    count, var = len(grid.k_per_s), noise_ppm * noise_ppm
    return tuple(
        (
            (
                1.0 / count,
                SETTLED,
                seen_ppm,
                k * seen_ppm,
                seen_ppm,
                var,
                k * var,
                var,
                1.0 + k * k * var,
                k * var,
                var,
            ),
        )
        for k in grid.k_per_s
    )


def _source_changed(bank: Bank) -> Bank:
    """Reopen the source in every cell."""
    spread = SOURCE_PPM_S**2
    return tuple(
        tuple((*p[:8], p[8] + spread, *p[9:]) for p in cell)
        for cell in bank  # type: ignore[misc]
    )


def _vent_changed(bank: Bank) -> Bank:
    """Reopen the ventilation: each again as likely, the source as it was believed."""
    best: Component = max((cell[0] for cell in bank), key=lambda part: part[0])
    count = len(bank)
    return tuple(((1.0 / count, *best[1:]),) for _ in bank)


def _within(
    grid: Grid, bank: Bank, gap_pct: float, ratio: float, horizon_s: float
) -> float:
    """Give the probability that the excess climbs by what the gap to the limit is."""
    total = weight = 0.0
    for k, cell in zip(grid.k_per_s, bank, strict=True):
        for w, _, c, s, _z, cc, cs, _cz, ss, _sz, _zz in cell:
            e = math.exp(-k * horizon_s)
            b = (1.0 - e) / k
            rise = (e - 1.0) * c + b * s
            var = (e - 1.0) ** 2 * cc + 2.0 * (e - 1.0) * b * cs + b * b * ss
            over = gap_pct / ratio - rise
            total += w * 0.5 * math.erfc(over / math.sqrt(2.0 * var + 1e-9))
            weight += w
    return total / weight


def _changes(night: Night, i: int) -> tuple[bool, bool]:
    """Say whether source and ventilation change at a tick."""
    if i == 0:
        return night.burn_kw[0] > 0.0, False
    return (
        night.burn_kw[i] != night.burn_kw[i - 1],
        night.k_per_s[i] != night.k_per_s[i - 1],
    )


def follow_informed(night: Night) -> Iterator[tuple[float, float, float]]:
    """Yield (s, probability within what is asked, within 5 min) down to the crossing.

    The O2 now and the ratio of the stretch are told him as they are.
    """
    parts, ratio = night.parts, 0.0
    assert parts is not None
    grid = _grid(parts.co2_lag_s)
    noise = math.hypot(parts.co2_noise_ppm, 0.2887 * parts.co2_step_ppm)
    bank: Bank | None = None
    for i, t in enumerate(night.time_s):
        if night.o2_pct[i] <= LIMIT_PCT:
            return
        seen = night.co2_seen[i]
        if seen is not None:
            seen = (seen - night.floor_ppm) / parts.co2_gain
            if bank is None:
                bank = _begin(grid, seen, noise)
            else:
                bank = read(bank, seen, noise, EXACT)
        if bank is None:
            continue
        source, vent = _changes(night, i)
        if vent:
            bank = _vent_changed(bank)
        if source:
            bank = _source_changed(bank)
        ratio = night.ratio[i]
        if night.burn_kw[i] > 0.0:
            gap = night.o2_pct[i] - LIMIT_PCT - MARGIN_PCT
            far = _within(grid, bank, gap, ratio, ASKED_S)
            yield t, far, _within(grid, bank, gap, ratio, 300.0)
        bank = pass_time(grid, bank, EXACT)
