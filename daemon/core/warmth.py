"""How far a galvanic cell may be off while its temperature runs, and what is then true.

The two ends of such a cell, its membrane and the thermistor that takes the membrane's
warmth away again, follow the air minutes apart.  Meanwhile it reads wrong, to a side
that differs from cell to cell.  How warm it was minute by minute shows how far at most.
"""

import itertools

from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT
from cabinvigil.daemon.air.figures import (
    FRESH_CO2_PPM,
    MOST_O2_PER_CO2,
    MOST_O2_PER_CO2_WET,
)
from cabinvigil.daemon.air.moisture import vapour_hpa
from cabinvigil.daemon.core.breathed import air_hpa
from cabinvigil.daemon.core.history import History
from cabinvigil.drivers.kit.quantity import is_breathed, split_channel

OVER_MINUTES = 5
"""A rate is taken over so long: shorter than a cell of some 30 g needs to follow (own
choice)."""
LASTS_MINUTES = 30
"""So long after its temperature ran a cell may still be off: three times what its
slower end needs (our choice)."""
SLOW_K_MIN = 0.05
"""Slower than 3 K an hour counts for nothing: 0.06 % of oxygen (our choice)."""
RISES_S = 180.0
"""The pace of carbon dioxide is taken over so long: its noise then counts for nothing
(our choice)."""
RUNS_S = 60.0 * (LASTS_MINUTES + OVER_MINUTES)
"""The past that is looked at."""


def _fastest_k_min(history: History, key: str) -> tuple[float, float]:
    """Return how fast the warmth of a series has risen, and fallen, at the most.

    Both are 0 where nothing shows how warm its part is.
    """
    warmth = history.series.get(history.layout.series[key].warmth)
    if warmth is None:
        return 0.0, 0.0
    since_s = history.now - RUNS_S
    minutes = warmth.minutes[-(LASTS_MINUTES + OVER_MINUTES) :]
    rises = [0.0]
    falls = [0.0]
    for (then_s, then_c), (at_s, now_c) in zip(
        minutes, itertools.islice(minutes, OVER_MINUTES, None), strict=False
    ):
        if then_s < since_s:
            continue
        rate = (now_c - then_c) / ((at_s - then_s) / 60.0)
        if abs(rate) > SLOW_K_MIN:
            (rises if rate > 0.0 else falls).append(abs(rate))
    return max(rises), max(falls)


def off_by(history: History, key: str) -> float:
    """Return how far a series may be off, in its unit; 0 where its warmth stands."""
    per_k_min = history.layout.series[key].off_per_k_min
    return per_k_min * max(_fastest_k_min(history, key)) if per_k_min else 0.0


def moved_by(history: History, key: str) -> float:
    """Return how far a series may have moved though the air did not, in its unit.

    A warmth that rose and then fell moves it from the one side to the other.
    """
    per_k_min = history.layout.series[key].off_per_k_min
    if not per_k_min:
        return 0.0
    rise, fall = _fastest_k_min(history, key)
    return per_k_min * (rise + fall)


def least_true(history: History, key: str) -> float:
    """Return the least that there may truly be of what a series shows.

    No less than what is left of fresh air by the carbon dioxide in it: so a cell that
    warms up rings for nothing in no aired cabin.  Where no other part tells, what it
    shows stands.
    """
    shown = history.series[key].value
    off = off_by(history, key)
    if off <= 0.0:
        return shown
    floor_pct = _left_of_fresh_pct(history)
    found = split_channel(key)
    if floor_pct is None or found is None:
        return shown
    floor = floor_pct
    if found[0].name == "o2_hpa":
        at_hpa = air_hpa(history)
        if at_hpa is None:
            return shown
        floor = floor_pct / 100.0 * at_hpa
    return min(shown, max(shown - off, floor))


def _left_of_fresh_pct(history: History) -> float | None:
    """Return the oxygen that burning and breathing have left, at the least.

    A doubtful part counts too, as one that is out in the cold with the cell: without
    any, the cell alone would be believed.
    """
    seen = [
        _by_now_ppm(history, key)
        for key in history.layout.index("co2_ppm")
        if is_breathed(key) and history.fresh(key) is not None
    ]
    if not seen:
        return None
    given = max(0.0, max(seen) - FRESH_CO2_PPM) / 1e4
    wet = _vapour_share(history)
    if wet is None:
        return O2_DRY_PCT - MOST_O2_PER_CO2_WET * given
    return (O2_DRY_PCT - MOST_O2_PER_CO2 * given) * (1.0 - wet)


def _by_now_ppm(history: History, key: str) -> float:
    """Return the carbon dioxide that there is by now: what rises is ahead of its part.

    By as much as it rises within the part's own lag, at the pace of late.
    """
    series = history.series[key]
    since_s = history.now - RISES_S
    then = next((one for one in series.minutes if one[0] >= since_s), None)
    if then is None or history.now <= then[0]:
        return series.value
    rate = (series.value - then[1]) / (history.now - then[0])
    return series.value + max(0.0, rate) * history.layout.series[key].lag_s


def _vapour_share(history: History) -> float | None:
    """Return the part of the air that is water vapour; None where nobody tells."""
    at_hpa = air_hpa(history)
    known = [
        [
            history.series[key].value
            for key in history.layout.index(quantity, "")
            if history.is_trusted(key)
        ]
        for quantity in ("temp_c", "rh_pct")
    ]
    if at_hpa is None or not all(known):
        return None
    temp_c, rh_pct = max(known[0]), max(known[1])
    return vapour_hpa(temp_c, min(max(rh_pct, 0.0), 100.0)) / at_hpa
