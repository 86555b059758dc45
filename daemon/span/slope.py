"""How a galvanic cell drifts with temperature, by its spans on cold and on warm days.

Pure.  A maker promises 2 % over 0 to 40 °C, which is 0.4 % of oxygen.  Spans tell more
of the cell at hand; but it ages between them too, and each span errs a little.  So the
slope is that which is likeliest, by all its spans, of what such cells do.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

LEAST_APART_K = 15.0
"""Spans nearer in temperature than this tell more of their own errors (our choice)."""
SPAN_ERROR = 0.003
"""Of the signal: 0.3 %, of pressure, humidity and noise (our choice)."""
AGEING, AGEING_SD = -0.01, 0.01
"""A month: to 70 % of its signal in two to three years, and as much to either side
(unverified, as in `doubts`)."""
SLOPE_SD = 0.0005
"""A kelvin: the maker's 2 % over 40 K (sensors sheet, 7a)."""
MONTH_S = 30.44 * 86400.0
DECIMALS = 4


@dataclass(frozen=True, slots=True)
class SpannedAt:
    """What one span says of this."""

    at: datetime
    temp_c: float
    sensitivity: float
    """The signal for each unit of what the cell senses."""


def slope_pct_per_k(spans: Sequence[SpannedAt]) -> float | None:
    """Return the drift that a cell's own compensation leaves, in % of signal a kelvin.

    Least squares of the signal's logarithm by age and temperature, each with what such
    cells do as a reading of its own.

    Returns:
        None where the spans do not lie far enough apart in temperature.
    """
    known = [one for one in spans if one.sensitivity > 0.0]
    temps = [one.temp_c for one in known]
    if not known or max(temps) - min(temps) < LEAST_APART_K:
        return None
    ages = [(one.at - known[0].at).total_seconds() / MONTH_S for one in known]
    age, warm, log = (
        _about_their_mean(values)
        for values in (ages, temps, [math.log(one.sensitivity) for one in known])
    )
    weight = SPAN_ERROR**2
    aa = _product(age, age) + weight / AGEING_SD**2
    ww = _product(warm, warm) + weight / SLOPE_SD**2
    aw = _product(age, warm)
    al = _product(age, log) + AGEING * weight / AGEING_SD**2
    wl = _product(warm, log)
    return round(100.0 * (aa * wl - aw * al) / (aa * ww - aw * aw), DECIMALS)


def _about_their_mean(values: Sequence[float]) -> list[float]:
    mean = math.fsum(values) / len(values)
    return [value - mean for value in values]


def _product(some: Sequence[float], others: Sequence[float]) -> float:
    return math.fsum(a * b for a, b in zip(some, others, strict=True))
