"""A surface at or below the dew point, or within the hour."""

import math
from bisect import bisect_right

import attrs

from cabinvigil.daemon.air.moisture import dew_point_c, surface_c
from cabinvigil.daemon.core.history import History, Series
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between

PER = "once"
SHOWN_WITH = "dew"


@attrs.frozen
class Params:
    """How near the dew point counts, and how far ahead it looks."""

    ahead_s: float = attrs.field(
        default=3600.0, validator=Between(0.0, 86_400.0, laxer="lower")
    )
    slope_s: float = attrs.field(
        default=1200.0, validator=Between(300.0, 14_400.0, laxer="either")
    )
    """The change that is carried forward is that of this span: over a longer one it
    lags, over a shorter one noise cuts it short."""
    dead_band_c: float = attrs.field(
        default=1.0, validator=Between(0.0, 20.0, laxer="lower")
    )


NEAR_S = 120.0
"""A minute mean this far from the moment asked for stands in for it."""


def _minute(series: Series, at_s: float) -> float | None:
    """Return the last minute mean within two minutes of a moment; None without one."""
    minutes = series.minutes
    index = bisect_right(minutes, (at_s + NEAR_S, math.inf)) - 1
    if index < 0 or minutes[index][0] < at_s - NEAR_S:
        return None
    return minutes[index][1]


def _margin(
    history: History, temp_c: float, rh_pct: float, glass_c: float | None
) -> tuple[float, float, float] | None:
    """Return (margin, dew point, surface), all in degrees; None if not to be told."""
    dew_c = dew_point_c(temp_c, rh_pct)
    around = history.layout.surroundings
    if glass_c is None:
        outside_c = history.value("temp_c_outside")
        if outside_c is None:
            outside_c = around.outside_c
        if outside_c is None or around.glass_u_w_m2k is None:
            return None
        glass_c = surface_c(temp_c, outside_c, around.glass_u_w_m2k)
    return glass_c - dew_c, dew_c, glass_c


def _margin_at(
    history: History, humid: Series, warm: Series, then_s: float
) -> float | None:
    """Return the margin at a moment past, in degrees; None if not to be told."""
    rh_pct = _minute(humid, then_s)
    temp_c = _minute(warm, then_s)
    if rh_pct is None or temp_c is None:
        return None
    glass = history.worst("temp_c", "below", "glass")
    glass_c = None if glass is None else _minute(glass[1], then_s)
    if glass is not None and glass_c is None:
        return None
    then = _margin(history, temp_c, min(max(rh_pct, 1.0), 100.0), glass_c)
    return None if then is None else then[0]


def _ahead_c(
    params: Params, history: History, pair: tuple[Series, Series], margin_c: float
) -> float:
    """Carry the margin on by its change of late; growing margins are not carried.

    After a burner is lit or a vent is moved, vapour goes to its new level like a
    charge: each span's change is a share of the one before.  That share is carried on
    too, so that a margin which levels off is not told as one that vanishes.
    """
    humid, warm = pair
    spans = [
        _margin_at(history, humid, warm, history.now - back * params.slope_s)
        for back in (1.0, 2.0)
    ]
    if spans[0] is None or spans[1] is None:
        return margin_c
    latest_c, before_c = margin_c - spans[0], spans[0] - spans[1]
    share = min(max(latest_c / before_c, 0.0), 1.0) if before_c < 0.0 else 1.0
    ahead_c, change_c = margin_c, latest_c
    for _ in range(max(1, round(params.ahead_s / params.slope_s))):
        change_c *= share
        ahead_c += change_c
    return min(margin_c, ahead_c)


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge glass against dew point, now and carried forward.

    Returns:
        None where humidity, warmth or the surface is not known, or where only a
        doubtful value would say that all is well.
    """
    del now
    found = [history.worst(name, "above", "") for name in ("rh_pct", "temp_c")]
    if found[0] is None or found[1] is None:
        return None
    humid, warm = found[0][1], found[1][1]
    glass = history.worst("temp_c", "below", "glass")
    rh_pct = min(max(humid.value, 1.0), 100.0)
    glass_c = None if glass is None else glass[1].value
    at_now = _margin(history, warm.value, rh_pct, glass_c)
    if at_now is None:
        return None
    margin_c, dew_c, surface = at_now
    ahead_c = _ahead_c(params, history, (humid, warm), margin_c)
    # Carried forward only where it is near already: far off, a small error of the
    # share that is carried on decides.
    soon = ahead_c <= 0.0 and margin_c <= 2.0 * params.dead_band_c
    wet = margin_c <= 0.0 or soon
    doubtful = humid.doubtful or warm.doubtful or (glass and glass[1].doubtful)
    if not wet and doubtful:
        return None
    low = Priority.LOW
    return Verdict(
        low if wet else None,
        low if wet or margin_c <= params.dead_band_c else None,
        facts={
            "dew_point_c": dew_c,
            "surface_c": surface,
            "rh_pct": rh_pct,
            "temp_c": warm.value,
        },
        evidence={"margin_c": margin_c, "ahead_c": ahead_c, "glass_c": surface},
        severity=-margin_c,
        wording="" if margin_c <= 0.0 else "soon",
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.LOW
