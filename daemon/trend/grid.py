"""The hypotheses of ventilation and lag, and what one step does under each.

A cabin with `k` air changes a second and a source `s` (ppm/s) obeys
`dc/dt = s - k c` for the excess `c` over outdoor air; a part of lag `tau` shows `z`,
`dz/dt = (c - z) / tau`.  Between changes `s` is constant, so a step is exact and
linear: `c' = e c + b s`, `z' = g_c c + g_s s + f z`.  An outdoor level that is not
quite right is only another `s`: it needs no hypothesis of its own.
"""

import math
from dataclasses import dataclass

Coefficients = tuple[float, float, float, float, float]
"""(e, b, g_c, g_s, f) of one step."""

SLOWEST_PER_H = 0.1
"""A shut and sealed cabin still leaks (cases: 0.01 to 0.3 an hour); slower than this
makes no difference within the horizons asked for."""
FASTEST_PER_H = 20.0
"""Faster than this nothing gathers: the settling level is reached in minutes."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Hypotheses of ventilation by lag: cell `j * len(k_per_s) + i`."""

    step_s: float
    k_per_s: tuple[float, ...]
    """Evenly spaced in the logarithm: each is equally likely beforehand."""
    lags_s: tuple[float, ...]
    coefficients: tuple[Coefficients, ...]
    """By cell."""

    @property
    def spacing(self) -> float:
        """Logarithm of the ratio between neighbouring hypotheses of ventilation."""
        return math.log(self.k_per_s[1] / self.k_per_s[0])


def step_coefficients(k: float, lag_s: float, step_s: float) -> Coefficients:
    """Solve one step for ventilation `k` (1/s) and a part's lag."""
    if lag_s <= 0.1 * step_s:  # as good as no lag: the part shows the air itself
        e = math.exp(-k * step_s)
        b = (1.0 - e) / k
        return e, b, e, b, 0.0
    if abs(k * lag_s - 1.0) < 1e-3:
        k *= 1.002  # the two exponentials would meet; a hair beside it is as good
    e = math.exp(-k * step_s)
    f = math.exp(-step_s / lag_s)
    g_c = (e - f) / (1.0 - k * lag_s)
    return e, (1.0 - e) / k, g_c, (1.0 - f - g_c) / k, f


def make_grid(step_s: float, lags_s: tuple[float, ...], count: int = 10) -> Grid:
    """Lay the hypotheses out."""
    ratio = (FASTEST_PER_H / SLOWEST_PER_H) ** (1.0 / (count - 1))
    k_per_s = tuple(SLOWEST_PER_H / 3600.0 * ratio**i for i in range(count))
    cells = tuple(
        step_coefficients(k, lag_s, step_s) for lag_s in lags_s for k in k_per_s
    )
    return Grid(step_s, k_per_s, lags_s, cells)
