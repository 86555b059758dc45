"""What an opening is judged by, of one night or trial: how soon, how low, how wet."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cabinvigil.daemon.log.night import STEP_S, Event, NightSeries, Told
from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.airflow.nodes import mean
from cabinvigil.daemon.review.morning import LIT_KW, Morning, people_seen
from cabinvigil.daemon.review.stretches import Totals

O2_LIMIT_PCT = 19.5
"""The minutes are counted to here: the limit of config/limits.toml (NIOSH, ANSI)."""
LOWER_O2_PCT = 0.3
"""Noise and drift of an oxygen part within a trial (our choice)."""
GAIN_OVER_S = 600.0
"""Warmth at the start is the mean of so long; a flame warms no cabin sooner (own
choice)."""


@dataclass(frozen=True, slots=True)
class TrialFigures:
    """The report's figures; None is not known, for the reason beside it."""

    o2_minutes: tuple[float | None, float | None, float | None] | None
    """From the start until oxygen was at the limit, early, likely and late; None in it:
    not within this time."""
    least_o2_pct: float | None
    settles_pct: Triple | None
    """Where the oxygen was going at the end, as the monitor projected it."""
    wet_from_min: float | None
    """When the glass was first wet; None: it never was, or `is_wet_known` is false."""
    is_wet_known: bool
    gas_kg_per_h: Triple | None
    """While the heater burnt."""
    begins_c: float | None
    """Inside, at the start."""
    gained_k: float | None
    """The warmest of it above its begin."""
    power_kw: Triple | None
    """On the higher heating value, while the heater burnt."""
    outside_c: float | None
    outside_is_measured: bool
    wind_mps: float
    """As the config has it: no part measures it."""
    people: float


def trial_figures(
    found: Morning,
    from_s: float,
    to_s: float,
    totals: Totals | None,
    o2_off_pct: float,
    *,
    is_trial: bool,
) -> TrialFigures:
    """Work the figures of a night, a stretch or a trial out.

    Args:
        found: the night, or the trial alone.
        from_s: where its stretch begins.
        to_s: where it ends.
        totals: of the stretch.
        o2_off_pct: how much an oxygen part may be off at the limit, either way.
        is_trial: nobody was inside.
    """
    tape, part = found.tape, found.tape.between(from_s, to_s)
    oxygen = tape.worst("o2_pct", "below")[part]
    wet = found.air.wet[part]
    first_wet = next((n for n, one in enumerate(wet) if one), None)
    people = 0.0 if is_trial else people_seen(found.balance, found.facts)
    least = min((one for one in oxygen if one is not None), default=None)
    burnt = totals is not None and totals.lit_h > 0.0 and totals.burn_kw[1] > LIT_KW
    return TrialFigures(
        minutes_to(oxygen, O2_LIMIT_PCT, o2_off_pct),
        least,
        _settles(tape, from_s, to_s, least),
        None if first_wet is None else first_wet * STEP_S / 60.0,
        any(one is not None for one in wet),
        _an_hour(totals) if totals is not None and burnt else None,
        *_gained(found.air.temp_c[part]),
        totals.burn_kw if totals is not None and burnt else None,
        mean(found.air.outside_c[part]),
        found.air.outside_is_measured,
        found.facts.wind_mps,
        people,
    )


def minutes_to(
    values: Sequence[Told], limit: float, off: float
) -> tuple[float | None, float | None, float | None] | None:
    """Return how long it took to fall to a limit: early, likely, late.

    Args:
        values: a value a step.
        limit: to which it falls.
        off: how much of it the part may be wrong by, either way.

    Returns:
        None where nothing was told, or where a hole hides when it fell.
    """
    known = [n for n, one in enumerate(values) if one is not None]
    if not known:
        return None
    steps = [
        next((place for place, n in enumerate(known) if (values[n] or 0.0) <= at), None)
        for at in (limit + off, limit, limit - off)
    ]
    if steps[0] == 0 and known[0] > 0:
        return None  # it was there when it was first told
    middle, late = (None if one is None else known[one] for one in steps[1:])
    early = steps[0]
    if early:  # a hole before it may hide when it fell
        early = known[early - 1] + 1
    told = (None if n is None else n * STEP_S / 60.0 for n in (early, middle, late))
    first, then, last = told
    return first, then, last


def _settles(
    tape: NightSeries, from_s: float, to_s: float, least_pct: float | None
) -> Triple | None:
    """Return where it was going; None where it had been lower than that already.

    Then what drove it there has ended, a flame that went out or a vent that opened,
    and the end says nothing of where the rest was going.
    """
    for one in reversed(tape.estimates):
        if from_s <= one.at_s < to_s and (triple := _triple(one)) is not None:
            was_lower = least_pct is not None and triple[1] > least_pct + LOWER_O2_PCT
            return None if was_lower else triple
    return None


def _triple(estimate: Event) -> Triple | None:
    told: Any = estimate.fields.get("o2_settles_pct")
    if not isinstance(told, list) or len(told) != 3:
        return None
    if not all(isinstance(one, int | float) for one in told):
        return None
    low, middle, high = map(float, told)
    return low, middle, high


def _an_hour(totals: Totals) -> Triple:
    hours = totals.lit_h + totals.unsure_h
    low, middle, high = (one / hours for one in totals.gas_kg)
    return low, middle, high


def _gained(warm: Sequence[Told]) -> tuple[float | None, float | None]:
    """Return how warm it was at the start, and how much warmer it became."""
    begin = mean(warm[: round(GAIN_OVER_S / STEP_S)])
    most = max((one for one in warm if one is not None), default=None)
    return begin, None if begin is None or most is None else most - begin
