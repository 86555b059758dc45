"""The zone filter: readings in, what the air does and will do out.

Two banks follow the night.  The fine one reads CO2 and sees a fall of O2 a hundred
times earlier than an O2 cell does; `Line` turns its excess into O2.  The coarse one
reads O2 alone; it stands in where CO2 is missing, and has its say where CO2 does not
explain what O2 does.
"""

import math
from dataclasses import replace

from cabinvigil.daemon.air.moisture import saturation_hpa
from cabinvigil.daemon.trend import bank as banks
from cabinvigil.daemon.trend import line as lines
from cabinvigil.daemon.trend.estimate import tell
from cabinvigil.daemon.trend.explain import KEPT, Minute
from cabinvigil.daemon.trend.line import LEVEL_PCT, RATIO
from cabinvigil.daemon.trend.minute_means import Channel, close, noise_of, note
from cabinvigil.daemon.trend.model import Observation, TrendEstimate, TrendSetup
from cabinvigil.daemon.trend.state import (
    COARSE,
    COARSE_STEPS,
    EARLY_S,
    LONGEST_GAP_STEPS,
    SLIDE_STEPS,
    STALE_S,
    STANDARD_HPA,
    STEP_S,
    UNKNOWN_O2_LAG_S,
    VAPOUR_HELD_S,
    WARMER_K,
    ZERO_C_K,
    TrendState,
    start,
)

__all__ = ["TrendState", "estimate", "reanchor", "start", "update"]

REANCHOR_SD_PCT = 0.5
"""How far another oxygen part may lie from the one before: makers allow 0.4 % each."""


def update(
    setup: TrendSetup, state: TrendState, now_s: float, seen: Observation
) -> TrendState:
    """Take one tick; what it gave is gathered, and every 10 s makes a step."""
    state = _note(state, now_s, seen)
    if state.started_s is None:
        return replace(state, started_s=now_s, step_s=now_s - STEP_S)
    gap_s = now_s - state.step_s
    if gap_s < STEP_S - EARLY_S:
        return state
    steps = max(1, round(gap_s / STEP_S))
    if steps > LONGEST_GAP_STEPS:
        state = _forget(setup, state, now_s)
        steps = 1
    end_s = state.step_s + steps * STEP_S
    co2, co2_ppm = close(state.co2, end_s)
    o2, o2_pct = close(state.o2, end_s)
    state = replace(
        state,
        co2=co2,
        o2=o2,
        step_s=end_s,
        steps=state.steps + 1,
    )
    state = _follow_warmth(state)
    state = _step_fine(setup, state, now_s, steps, co2_ppm)
    if o2_pct is not None:
        state = _read_line(state, now_s, o2_pct)
    state = _step_coarse(state, steps, o2_pct)
    state = _keep_minute(state, now_s, o2_pct, co2_ppm)
    return tell(setup, state, now_s)


def estimate(
    setup: TrendSetup, state: TrendState, now_s: float
) -> TrendEstimate | None:
    """Return what the air does; None where nothing fresh tells it."""
    del setup  # the state's estimate was worked out with it
    if now_s - max(state.o2_s, state.co2_s) > STALE_S:
        return None
    return state.estimate


def reanchor(state: TrendState, quantities: frozenset[str]) -> TrendState:
    """Take the next readings of these quantities for another part's.

    Parts of one kind may differ by more than the air moves in an hour: what compares
    readings of then with readings of now begins again.  The ratio of O2 to CO2, and how
    the cabin is vented, stay known.
    """
    if "o2_pct" in quantities:
        line = state.line
        wide = replace(line, var_level=line.var_level + REANCHOR_SD_PCT**2)
        state = replace(
            state,
            o2=_unread(state.o2),
            line=wide,
            coarse=None,
            coarse_sum=0.0,
            coarse_count=0,
            minutes=(),
            minute_sums=(0.0, 0, 0.0, 0),
        )
    if "co2_ppm" in quantities:
        state = replace(
            state,
            co2=_unread(state.co2),
            fine=None,
            minutes=(),
            minute_sums=(0.0, 0, 0.0, 0),
        )
    return state


def _unread(channel: Channel) -> Channel:
    """Return a channel without its readings; what the part is like stays known."""
    return replace(
        channel, pending=(), last_raw=None, last=None, before=None, doubted=None, same=0
    )


def _note(state: TrendState, now_s: float, seen: Observation) -> TrendState:
    co2, o2 = state.co2, state.o2
    if seen.co2_ppm is not None:
        co2 = note(co2, now_s, seen.co2_ppm)
    if seen.o2_pct is not None:
        o2 = note(o2, now_s, seen.o2_pct)
    pressure = state.pressure_hpa if seen.pressure_hpa is None else seen.pressure_hpa
    off_pct = state.o2_off_pct if seen.o2_pct is None else seen.o2_off_pct
    vapour, vapour_s, temp_c = state.vapour, state.vapour_s, state.temp_c
    if seen.temp_c is not None:
        temp_c = seen.temp_c
        if seen.rh_pct is not None:
            part = saturation_hpa(seen.temp_c) * seen.rh_pct / 100.0
            vapour, vapour_s = min(0.2, part / (pressure or STANDARD_HPA)), now_s
    if now_s - vapour_s > VAPOUR_HELD_S:
        vapour = None
    return replace(
        state,
        co2=co2,
        o2=o2,
        pressure_hpa=pressure,
        o2_off_pct=off_pct,
        temp_c=temp_c,
        vapour=vapour,
        vapour_s=vapour_s,
    )


def _forget(setup: TrendSetup, state: TrendState, now_s: float) -> TrendState:
    """Begin again after a long silence; what the sensors are like is still known."""
    fresh = start(setup)
    return replace(
        fresh,
        started_s=now_s,
        step_s=now_s - STEP_S,
        co2=_unread(state.co2),
        o2=_unread(state.o2),
        vapour=state.vapour,
        vapour_s=state.vapour_s,
        temp_c=state.temp_c,
        pressure_hpa=state.pressure_hpa,
    )


def _follow_warmth(state: TrendState) -> TrendState:
    """Let the sources grow as the air warms: a heater that is lit heats by 30 K."""
    then, now = state.sources_at_c, state.temp_c
    if now is None or then is None:
        return replace(state, sources_at_c=now)
    if abs(now - then) < WARMER_K:
        return state
    factor = (now + ZERO_C_K) / (then + ZERO_C_K)
    return replace(
        state,
        fine=None if state.fine is None else banks.warm(state.fine, factor),
        coarse=None if state.coarse is None else banks.warm(state.coarse, factor),
        sources_at_c=now,
    )


def _step_fine(
    setup: TrendSetup, state: TrendState, now_s: float, steps: int, co2: float | None
) -> TrendState:
    grid, bank = state.fine_grid, state.fine
    if bank is not None and now_s - state.co2_s > LONGEST_GAP_STEPS * STEP_S:
        bank = None
    noise = noise_of(state.co2)
    if bank is None:
        if co2 is None:
            return replace(state, fine=None)
        seen = co2 - setup.outdoor_co2_ppm
        bank = banks.begin(grid, seen, noise)
        return replace(state, fine=bank, co2_s=now_s, lagged_ppm=seen)
    if co2 is not None:
        bank = banks.with_changes(grid, bank)
    for _ in range(steps):
        bank = banks.pass_time(grid, bank)
    if state.steps % SLIDE_STEPS == 0:
        bank = banks.slide(grid, bank, SLIDE_STEPS * steps)
    if co2 is None:
        return replace(state, fine=bank)
    bank = banks.read(bank, co2 - setup.outdoor_co2_ppm, noise)
    lag_s = UNKNOWN_O2_LAG_S if setup.o2_lag_s is None else setup.o2_lag_s
    follow = min(1.0, steps * STEP_S / (lag_s + 0.5 * STEP_S))
    lagged = state.lagged_ppm + follow * (banks.mean_excess(bank) - state.lagged_ppm)
    return replace(state, fine=bank, co2_s=now_s, lagged_ppm=lagged)


def dry(state: TrendState, o2_pct: float) -> float:
    """Take the vapour out of an O2 reading, where humidity is known."""
    return o2_pct if state.vapour is None else o2_pct / (1.0 - state.vapour)


PAIRED_S = 30.0
"""Oxygen is set against CO2 that is no older: a CO2 part that is silent, or at the end
of its range, tells nothing of what oxygen did meanwhile."""


def _widened(state: TrendState, noise: float) -> float:
    """Return the noise of O2 while its cell's warmth runs, or the cell settles.

    How far it may be off is the most: two standard deviations (our choice).
    """
    return math.hypot(noise, 0.5 * state.o2_off_pct)


def _read_line(state: TrendState, now_s: float, o2_pct: float) -> TrendState:
    noise = _widened(state, noise_of(state.o2))
    value = dry(state, o2_pct)
    if state.fine is None or now_s - state.co2_s > PAIRED_S:
        return replace(state, o2_s=now_s)
    if state.line_is_read:
        line = lines.read(state.line, value, state.lagged_ppm, noise)
    else:
        line = lines.begin(value, state.lagged_ppm, noise)
    return replace(state, line=line, line_is_read=True, o2_s=now_s)


def _step_coarse(state: TrendState, steps: int, o2_pct: float | None) -> TrendState:
    """Gather O2 over 30 s, then step the bank that reads O2 alone."""
    total, count = state.coarse_sum, state.coarse_count
    if o2_pct is not None:
        total, count = total + dry(state, o2_pct), count + 1
    passed = state.coarse_steps + steps
    if passed < COARSE_STEPS and state.coarse is not None:
        return replace(state, coarse_sum=total, coarse_count=count, coarse_steps=passed)
    grid, bank = state.coarse_grid, state.coarse
    if count:
        seen = (LEVEL_PCT - total / count) / RATIO
        fineness = 1.0 if state.o2.step > 2.0 * state.o2.noise else count**-0.5
        noise = max(noise_of(state.o2) * fineness, 0.003)
        noise = _widened(state, noise) / RATIO
        if bank is None:
            bank = banks.begin(grid, seen, noise, COARSE)
            passed = 0
        else:
            bank = banks.with_changes(grid, bank, COARSE)
            for _ in range(passed // COARSE_STEPS):
                bank = banks.pass_time(grid, bank, COARSE)
            bank = banks.slide(grid, bank, 1, COARSE)
            bank = banks.read(bank, seen, noise, COARSE)
    elif bank is not None:
        for _ in range(passed // COARSE_STEPS):
            bank = banks.pass_time(grid, bank, COARSE)
    return replace(
        state,
        coarse=bank,
        coarse_sum=0.0,
        coarse_count=0,
        coarse_steps=passed % COARSE_STEPS,
    )


def _keep_minute(
    state: TrendState, now_s: float, o2_pct: float | None, co2_ppm: float | None
) -> TrendState:
    minute = int(now_s // 60.0)
    o2, n_o2, co2, n_co2 = state.minute_sums
    minutes = state.minutes
    if minute != state.minute:
        if n_o2 and n_co2:
            closed = Minute(
                o2 / n_o2,
                co2 / n_co2,
                state.vapour,
                state.pressure_hpa,
                state.o2_off_pct,
            )
            minutes = (*minutes[-(KEPT - 1) :], closed)
        elif minutes:
            minutes = minutes[1:]  # a hole: the past before it grows old
        o2, n_o2, co2, n_co2 = 0.0, 0, 0.0, 0
    if o2_pct is not None:
        o2, n_o2 = o2 + o2_pct, n_o2 + 1
    if co2_ppm is not None:
        co2, n_co2 = co2 + co2_ppm, n_co2 + 1
    return replace(
        state, minutes=minutes, minute=minute, minute_sums=(o2, n_o2, co2, n_co2)
    )
