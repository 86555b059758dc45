"""From the filter's state to what is told: probabilities, intervals, what is odd."""

import math
from dataclasses import replace

from cabinvigil.daemon.trend import line as lines
from cabinvigil.daemon.trend.bank import Bank, all_parts
from cabinvigil.daemon.trend.explain import (
    NOTHING,
    Unexplained,
    ratio_z,
    unexplained,
)
from cabinvigil.daemon.trend.grid import Grid
from cabinvigil.daemon.trend.line import LEVEL_PCT, RatioLine
from cabinvigil.daemon.trend.minute_means import noise_of
from cabinvigil.daemon.trend.model import (
    Crossing,
    MinutesTriple,
    TrendEstimate,
    TrendSetup,
    Triple,
    View,
)
from cabinvigil.daemon.trend.project import (
    Point,
    answer,
    minutes_triple,
    spread,
    triple,
    weighty,
)
from cabinvigil.daemon.trend.state import (
    EARLY_S,
    STALE_S,
    STANDARD_HPA,
    STOOD_S,
    WARM_S,
    TrendState,
)

SPREAD_EVERY_S = 60.0
"""Intervals are told once a minute, so they are worked out once a minute ..."""
SPREAD_ON_CHANGE = 0.1
"""... and when a probability has moved by this much."""
ODD_Z, ODD_PCT = 3.0, 0.1
"""Where CO2 leaves so much O2 unexplained, O2's own bank has its say."""
PASSED_SD = 2.0
"""A reading this many standard deviations past a limit has passed it (our choice)."""
VAPOUR_PER_PPM = 4.0 / 3.0 * 1e-6
"""Share of vapour that propane gives for each ppm of CO2: 4 H2O for 3 CO2."""
FALL_MINUTES = 20
"""A fall is measured from the best of the horizon's own length."""
GAS_J_PER_MOL_K = 8.314
ROOM_C = 20.0


def tell(setup: TrendSetup, state: TrendState, now_s: float) -> TrendState:
    """Renew the estimate that the state carries."""
    views = _views(setup, state, now_s)
    if not views or state.started_s is None or now_s - state.started_s < WARM_S:
        return replace(state, estimate=None)
    odd = _odd(state)
    state = _keep_low(state, now_s, views[0])
    # Where CO2 does not explain the fall, what O2 does by itself comes first.
    leads = views[::-1] if _is_odd(odd) else views[:1]
    state, crossings = _answered(setup, state, now_s, leads)
    # Of the bank whose lows are kept, whichever leads: else it dips once a minute.
    fallen_pct = _fallen(state, views[0])
    before = state.estimate
    if before is not None and now_s - state.spread_s < SPREAD_EVERY_S:
        moved = max(
            (
                abs(new.probability - old.probability)
                for new, old in zip(crossings, before.crossings, strict=True)
            ),
            default=0.0,
        )
        if moved < SPREAD_ON_CHANGE:
            told = replace(
                before,
                at_s=now_s,
                crossings=crossings,
                belief=tuple(leads),
                o2_fallen_pct=fallen_pct,
                unexplained_o2_pct=odd.o2_pct,
                unexplained_z=odd.z,
            )
            return replace(state, estimate=told)
    told = _full(setup, state, now_s, leads, crossings, odd)
    told = replace(told, o2_fallen_pct=fallen_pct)
    return replace(state, estimate=told, spread_s=now_s)


def _answered(
    setup: TrendSetup, state: TrendState, now_s: float, leads: list[View]
) -> tuple[TrendState, tuple[Crossing, ...]]:
    """Answer what is asked, each with the lowest that it was in the last half minute.

    Nothing has stood so long in the first half minute that anything is told.
    """
    answers = tuple(answer(ask, leads) for ask in setup.asks)
    since_s = now_s - STOOD_S + EARLY_S
    chances = (*state.chances, (now_s, answers))
    while len(chances) > 1 and chances[1][0] <= since_s:
        chances = chances[1:]
    past = [given for _, given in chances] if chances[0][0] <= since_s else []
    lowest = [min(each) for each in zip(*past, strict=True)] or [0.0] * len(answers)
    found = zip(setup.asks, answers, lowest, strict=True)
    return replace(state, chances=chances), tuple(Crossing(*each) for each in found)


def _is_odd(odd: Unexplained) -> bool:
    """Return whether CO2 leaves O2 unexplained: then another gas may push it out."""
    return odd.z >= ODD_Z and odd.o2_pct >= ODD_PCT


def _excess(view: View) -> float:
    return math.fsum([part[0] * part[2] for _, part in view.parts])


def _keep_low(state: TrendState, now_s: float, view: View) -> TrendState:
    """Remember the lowest excess of each minute; a change of bank begins again."""
    minute, excess = int(now_s // 60.0), _excess(view)
    lows = state.lows if state.lows_of_co2 == view.reads_co2 else ()
    if lows and lows[-1][0] == minute:
        lows = (*lows[:-1], (minute, min(lows[-1][1], excess)))
    else:
        lows = (*lows[-FALL_MINUTES:], (minute, excess))
    return replace(state, lows=lows, lows_of_co2=view.reads_co2)


def _fallen(state: TrendState, view: View) -> float:
    since = state.lows[-1][0] - FALL_MINUTES
    best = min(excess for minute, excess in state.lows if minute >= since)
    return max(0.0, view.line.ratio * (_excess(view) - best))


def _views(setup: TrendSetup, state: TrendState, now_s: float) -> list[View]:
    """Return the banks that can tell, the finest first."""
    views = []
    if state.fine is not None and now_s - state.co2_s <= STALE_S:
        views.append(_view(setup, state, state.fine_grid, state.fine, _breathed(state)))
    if state.coarse is not None and now_s - state.o2_s <= STALE_S:
        line = _wet(state, lines.fixed(LEVEL_PCT), 0.0, 0.0)
        views.append(_view(setup, state, state.coarse_grid, state.coarse, line))
    return views


def _view(
    setup: TrendSetup, state: TrendState, grid: Grid, bank: Bank, line: RatioLine
) -> View:
    parts = weighty(all_parts(grid, bank))
    co2_ppm = setup.outdoor_co2_ppm
    return View(parts, line, grid.spacing, co2_ppm, grid is state.fine_grid)


def _wet(
    state: TrendState, line: RatioLine, per_ppm: float, excess_ppm: float
) -> RatioLine:
    """Turn a line of dry O2 into one of O2 as breathed.

    Args:
        state: knows the vapour now.
        line: of dry O2.
        per_ppm: vapour that comes with each further ppm of CO2, as a share.
        excess_ppm: the excess now, at which the vapour now stands.
    """
    if state.vapour is None:
        return line
    air = 1.0 - state.vapour
    push = line.o2_pct(excess_ppm) * per_ppm
    return RatioLine(
        line.level_pct * air + push * excess_ppm,
        line.ratio * air + push,
        line.var_level * air * air,
        line.cov * air * air,
        line.var_ratio * air * air,
    )


def _breathed(state: TrendState) -> RatioLine:
    """Return the line of O2 as breathed, with the vapour that will follow the CO2."""
    per_ppm, excess_ppm = 0.0, state.lagged_ppm
    if state.vapour is not None and len(state.minutes) > 5:
        then, now = state.minutes[-6], state.minutes[-1]
        rise_ppm = now.co2_ppm - then.co2_ppm
        if then.vapour is not None and now.vapour is not None and rise_ppm > 100.0:
            per_ppm = (now.vapour - then.vapour) / rise_ppm
            per_ppm = min(max(per_ppm, 0.0), VAPOUR_PER_PPM)
    return _wet(state, state.line, per_ppm, excess_ppm)


def _odd(state: TrendState) -> Unexplained:
    if len(state.minutes) < 2:
        return NOTHING
    # A minute's mean of six steps; a coarse step averages out by a half at best.
    o2 = max(noise_of(state.o2) * 0.4, state.o2.step * 0.15)
    return unexplained(state.minutes, o2, noise_of(state.co2) * 0.4)


def _burn_kw(setup: TrendSetup, state: TrendState, source_ppm_s: float) -> float:
    """Return the power of a flame that makes so much CO2."""
    volume_m3 = setup.volume_m3 or 0.0
    temp_c = ROOM_C if state.temp_c is None else state.temp_c
    pressure_hpa = state.pressure_hpa or STANDARD_HPA
    moles = 100.0 * pressure_hpa * volume_m3 / (GAS_J_PER_MOL_K * (temp_c + 273.15))
    return max(0.0, source_ppm_s) * 1e-6 * moles * setup.fuel_kj_per_mol_co2


def _kw_triple(
    setup: TrendSetup, state: TrendState, points: list[Point]
) -> Triple | None:
    if setup.volume_m3 is None:
        return None
    return triple([_burn_kw(setup, state, p.source_ppm_s) for p in points])


def _full(
    setup: TrendSetup,
    state: TrendState,
    now_s: float,
    views: list[View],
    crossings: tuple[Crossing, ...],
    odd: Unexplained,
) -> TrendEstimate:
    """Work out every figure of the estimate."""
    parts, line = views[0].parts, views[0].line
    has_co2 = state.fine is not None and now_s - state.co2_s <= STALE_S
    points = spread(parts, line, views[0].spacing, is_flame=not _is_odd(odd))
    mean = math.fsum(part[0] * part[2] for _, part in parts)
    return TrendEstimate(
        at_s=now_s,
        crossings=crossings,
        o2_pct=line.o2_pct(mean),
        o2_rate_pct_per_h=triple([p.o2_rate_per_h() for p in points]),
        o2_settles_pct=triple([p.settles_pct() for p in points]),
        o2_minutes=_o2_minutes(setup, state, now_s, line.o2_pct(mean), points),
        co2_ppm=mean + setup.outdoor_co2_ppm if has_co2 else None,
        co2_rate_ppm_per_h=triple([p.co2_rate_per_h() for p in points])
        if has_co2
        else None,
        co2_minutes=minutes_triple(_co2_minutes(setup, points)) if has_co2 else None,
        air_changes_per_h=triple([p.k_per_s * 3600.0 for p in points]),
        burn_kw=_kw_triple(setup, state, points) if has_co2 else None,
        source_ppm_per_h=triple([p.source_ppm_s * 3600.0 for p in points]),
        o2_per_co2=line.ratio * 1e4,
        sensors=_sensors(state, now_s, has_co2),
        unexplained_o2_pct=odd.o2_pct,
        unexplained_z=odd.z,
        gases_disagree_z=ratio_z(state.line, state.vapour is None)
        if has_co2 and state.line_is_read
        else 0.0,
        belief=tuple(views),
        watched_s=now_s - (now_s if state.started_s is None else state.started_s),
    )


def _o2_minutes(
    setup: TrendSetup,
    state: TrendState,
    now_s: float,
    o2_pct: float,
    points: list[Point],
) -> MinutesTriple | None:
    """Return the minutes to the first O2 limit; all 0 where it is passed already.

    Passed is what the filter believes so, or what the cell has read clearly so: where
    CO2 does not explain the fall, the filter is slower.
    """
    limit = next((a.limit for a in setup.asks if a.quantity == "o2_pct"), 19.5)
    if now_s - state.o2_s <= STALE_S and state.o2.last is not None:
        o2_pct = min(o2_pct, state.o2.last[1] + PASSED_SD * noise_of(state.o2))
    if o2_pct <= limit:
        return 0.0, 0.0, 0.0
    return minutes_triple([p.minutes_to_o2(limit) for p in points])


def _co2_minutes(setup: TrendSetup, points: list[Point]) -> list[float]:
    limit = next((a.limit for a in setup.asks if a.quantity == "co2_ppm"), 3e4)
    return [p.minutes_to(limit - setup.outdoor_co2_ppm) for p in points]


def _sensors(state: TrendState, now_s: float, has_co2: bool) -> tuple[str, ...]:
    told = []
    if now_s - state.o2_s <= STALE_S:
        told.append("o2_pct")
    if has_co2:
        told.append("co2_ppm")
    if state.vapour is not None:
        told.extend(("temp_c", "rh_pct"))
    if state.pressure_hpa is not None:
        told.append("pressure_hpa")
    return tuple(told)
