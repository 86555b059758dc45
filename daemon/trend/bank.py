"""A bank of exact filters: one hypothesis of ventilation, lag and latest change each.

A heater is lit, turned, or goes out, and a vent is shut or opened, at one moment, not
gradually.  So beside what it believed before, each cell keeps for a few steps the
hypotheses 'the source jumped just then' and 'the ventilation jumped just then', each
with a filter of its own, and weighs them by how well they foretell the readings.
Taken for one slow walk instead, the lighting of a burner looks like the curvature of
a vented cabin, or hides it.

Everything here is flat arithmetic on tuples: it runs in plain Python on a small board.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cabinvigil.daemon.trend.grid import Coefficients, Grid

Component = tuple[
    float, int, float, float, float, float, float, float, float, float, float
]
"""One Gaussian: weight, age in steps, means of c, s, z, then their covariances
cc, cs, cz, ss, sz, zz (ppm and ppm/s)."""
Cell = tuple[Component, ...]
"""The parts of one hypothesis of ventilation and lag; the first is the settled one."""
Bank = tuple[Cell, ...]
"""By cell of the grid; all weights together are 1."""

SETTLED = 99
"""Age of a part in which nothing changed lately."""

LOST_LAG = 1.5
"""A lag is lost when its weight is within this of what the floors alone give it."""
MID_STEP = 0.09
"""Square of 0.3: a change falls within a step, not at its edge, so the first step shows
a share of it, evenly spread from none to all (standard deviation 0.29)."""


@dataclass(frozen=True, slots=True)
class Habits:
    """How cabins are taken to behave.  Tried out on the benchmark's tuning nights."""

    jump_s: float = 12.0
    """Spread of a change of source, ppm/s: 1 kW in 4 m3 gives 8 ppm/s of CO2."""
    same_s: float = 0.05
    """Spread of the source while the ventilation jumps, ppm/s: a vent is no burner."""
    hazard: float = 10.0 / 21600.0
    """Chance that the source changes within a step of 10 s: once in six hours; the
    same again for the ventilation."""
    drift: float = 0.001
    """Chance a step that ventilation has slid to a neighbouring hypothesis (icing)."""
    kept_steps: int = 4
    """Steps for which a change keeps a filter of its own."""
    wander_abs: float = 0.001
    """Walk of a source that is left alone, ppm/s a step."""
    wander_rel: float = 0.001
    """The same as a share of the source."""
    mixing_ppm: float = 0.5
    """Air that is not quite mixed: noise on c a step."""
    lag_doubt: float = 0.3
    """A part's lag is never quite the first order that it is taken for: this share of
    each step's change in `c - z` is doubted.  In a steady climb that is nothing."""
    temper: float = 0.8
    """Readings are not independent: each counts for this share of itself."""
    least: float = 1e-5
    """A change with less weight than this is forgotten."""
    floor: float = 1e-8
    """A settled part never has less: what was impossible may become true."""
    surprise: float = 1e-4 / 2000.0
    """Likelihood density of a reading that no hypothesis expects (1 in 10 000, spread
    over 2 000 ppm)."""
    start_slope: float = 1.0
    """Spread of the first slope, ppm/s, where nothing burns at the start ..."""
    start_burning: float = 8.0
    """... and where a burner does."""


USUAL = Habits()


def _merge(parts: Sequence[Component], age: int) -> Component:
    """Fit one Gaussian to several by their moments."""
    if len(parts) == 1:
        w, _, c, s, z, cc, cs, cz, ss, sz, zz = parts[0]
        return w, age, c, s, z, cc, cs, cz, ss, sz, zz
    t = c = s = z = cc = cs = cz = ss = sz = zz = 0.0
    for w, _, p_c, p_s, p_z, p_cc, p_cs, p_cz, p_ss, p_sz, p_zz in parts:
        w_c, w_s, w_z = w * p_c, w * p_s, w * p_z
        t += w
        c += w_c
        s += w_s
        z += w_z
        cc += w * p_cc + w_c * p_c
        cs += w * p_cs + w_c * p_s
        cz += w * p_cz + w_c * p_z
        ss += w * p_ss + w_s * p_s
        sz += w * p_sz + w_s * p_z
        zz += w * p_zz + w_z * p_z
    c, s, z = c / t, s / t, z / t
    cc, cs, cz = cc / t - c * c, cs / t - c * s, cz / t - c * z
    ss, sz, zz = ss / t - s * s, sz / t - s * z, zz / t - z * z
    return t, age, c, s, z, cc, cs, cz, ss, sz, zz


def begin(grid: Grid, seen: float, noise: float, habits: Habits = USUAL) -> Bank:
    """Begin from one reading: any ventilation, and a burner lit or not."""
    count = len(grid.coefficients)
    var = noise * noise
    cells = []
    for i in range(count):
        k = grid.k_per_s[i % len(grid.k_per_s)]
        cell: list[Component] = []
        for share, slope in ((0.7, habits.start_slope), (0.3, habits.start_burning)):
            w, ss = share / count, slope * slope + k * k * var
            age = 0 if cell else SETTLED  # the second joins the first in time
            cell.append(
                (w, age, seen, k * seen, seen, var, k * var, var, ss, k * var, var)
            )
        cells.append(tuple(cell))
    return tuple(cells)


def _jumped(part: Component, weight: float, spread: float) -> Component:
    """Say of a part that its source has just jumped by `spread`."""
    _, _, c, s, z, cc, cs, cz, ss, sz, zz = part
    return (weight, 0, c, s, z, cc, cs, cz, ss + spread * spread, sz, zz)


def with_changes(grid: Grid, bank: Bank, habits: Habits = USUAL) -> Bank:
    """Add the hypotheses that source or ventilation change in the coming step.

    Only where they could gain weight in it: a hundredth of what is kept.
    """
    n_k = len(grid.k_per_s)
    hazard = habits.hazard
    stay = 1.0 - 2.0 * hazard
    least = 0.01 * habits.least
    out: list[Cell] = []
    for first in range(0, len(bank), n_k):
        group = bank[first : first + n_k]
        if not group[0]:
            out.extend(group)
            continue
        own = [_merge(cell, 0) for cell in group]
        whole = _merge(own, 0)
        share = hazard * whole[0] / n_k
        for cell, merged in zip(group, own, strict=True):
            kept = [(part[0] * stay, *part[1:]) for part in cell]
            if merged[0] * hazard > least:
                kept.append(_jumped(merged, merged[0] * hazard, habits.jump_s))
            if share > least:
                kept.append(_jumped(whole, share, habits.same_s))
            out.append(tuple(kept))
    return tuple(out)


def warm(bank: Bank, factor: float) -> Bank:
    """Scale every source: warmer air holds fewer moles, which the same flame fills.

    Args:
        bank: as believed.
        factor: ratio of the temperatures in kelvin, now to then.
    """
    square = factor * factor
    return tuple(
        tuple(
            (
                w,
                age,
                c,
                s * factor,
                z,
                cc,
                cs * factor,
                cz,
                ss * square,
                sz * factor,
                zz,
            )
            for w, age, c, s, z, cc, cs, cz, ss, sz, zz in cell
        )
        for cell in bank
    )


def slide(grid: Grid, bank: Bank, steps: int, habits: Habits = USUAL) -> Bank:
    """Let ventilation slide to its neighbours, as ice grows or wind turns.

    A lag that has lost all its weight is given up here: a part keeps its lag.
    """
    n_k = len(grid.k_per_s)
    move = min(0.5, habits.drift * steps)
    out: list[Cell] = []
    for first in range(0, len(bank), n_k):
        group = bank[first : first + n_k]
        weight = math.fsum([part[0] for cell in group for part in cell])
        if weight < LOST_LAG * n_k * habits.floor:
            out.extend(((),) * n_k)
            continue
        for i, cell in enumerate(group):
            settled = cell[0]
            mixed = [(settled[0] * (1.0 - move), *settled[1:])]
            for j in (i - 1, i + 1):
                donor = group[j][0] if 0 <= j < n_k else settled
                mixed.append((donor[0] * move * 0.5, *donor[1:]))
            out.append((_merge(mixed, SETTLED), *cell[1:]))
    return tuple(out)


def _predict(cell: Cell, by: Coefficients, habits: Habits) -> Cell:
    """Carry the parts of a cell one step on."""
    e, b, g_c, g_s, f = by
    ee, eb2, bb = e * e, 2.0 * e * b, b * b
    mixing = habits.mixing_ppm * habits.mixing_ppm
    walk, share = habits.wander_abs**2, habits.wander_rel**2
    doubt = habits.lag_doubt**2
    out = []
    for w, age, c, s, z, cc, cs, cz, ss, sz, zz in cell:
        ss += walk + share * s * s
        if age == 1:
            ss += MID_STEP * s * s
        h_c = g_c * cc + g_s * cs + f * cz
        h_s = g_c * cs + g_s * ss + f * sz
        h_z = g_c * cz + g_s * sz + f * zz
        behind = c - z
        z = g_c * c + g_s * s + f * z
        c = e * c + b * s
        behind -= c - z
        shift = doubt * behind * behind
        cc = ee * cc + eb2 * cs + bb * ss + mixing + shift
        cs = e * cs + b * ss
        cz = e * h_c + b * h_s + shift
        zz = g_c * h_c + g_s * h_s + f * h_z + shift
        out.append((w, age, c, s, z, cc, cs, cz, ss, h_s, zz))
    return tuple(out)


def _learn(cell: Cell, seen: float, var: float, habits: Habits) -> Cell:
    """Take one reading into the parts of a cell, and weigh them by it."""
    surprise, temper = habits.surprise, habits.temper
    exp, sqrt = math.exp, math.sqrt
    out = []
    for w, age, c, s, z, cc, cs, cz, ss, sz, zz in cell:
        spread = zz + var
        miss = seen - z
        likely = exp(-0.5 * miss * miss / spread) / sqrt(spread)
        w *= (likely + surprise) ** temper
        g_c, g_s, g_z = cz / spread, sz / spread, zz / spread
        c += g_c * miss
        s += g_s * miss
        z += g_z * miss
        cc -= g_c * cz
        cs -= g_c * sz
        cz -= g_c * zz
        ss -= g_s * sz
        sz -= g_s * zz
        zz -= g_z * zz
        out.append((w, age + 1, c, s, z, cc, cs, cz, ss, sz, zz))
    return tuple(out)


def pass_time(grid: Grid, bank: Bank, habits: Habits = USUAL) -> Bank:
    """Carry the whole bank one step on, with nothing read."""
    return tuple(
        _predict(cell, by, habits)
        for cell, by in zip(bank, grid.coefficients, strict=True)
    )


def read(bank: Bank, seen: float, noise: float, habits: Habits = USUAL) -> Bank:
    """Take one reading: weigh, forget what has no weight, merge what has aged."""
    var = noise * noise
    learnt = [_learn(cell, seen, var, habits) for cell in bank]
    total = math.fsum([part[0] for cell in learnt for part in cell])
    scale = 1.0 / total
    return tuple([_tidy(cell, scale, habits) for cell in learnt])


def _tidy(cell: Cell, scale: float, habits: Habits) -> Cell:
    if not cell:
        return ()
    settled: list[Component] = []
    recent: list[Component] = []
    for part in cell:
        weight = part[0] * scale
        if part[1] > habits.kept_steps:
            settled.append((max(weight, 1e-300), *part[1:]))
        elif weight >= habits.least:
            recent.append((weight, *part[1:]))
    first = _merge(settled, SETTLED)
    if first[0] < habits.floor:
        first = (habits.floor, *first[1:])
    return (first, *recent)


def all_parts(grid: Grid, bank: Bank) -> list[tuple[float, Component]]:
    """List every part with its ventilation (1/s)."""
    n_k = len(grid.k_per_s)
    return [
        (grid.k_per_s[i % n_k], part) for i, cell in enumerate(bank) for part in cell
    ]


def mean_excess(bank: Bank) -> float:
    """Return the believed excess c, over all hypotheses."""
    total = value = 0.0
    for cell in bank:
        for part in cell:
            total += part[0]
            value += part[0] * part[2]
    return value / total
