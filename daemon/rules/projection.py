"""A limit that will be crossed soon, if nothing changes: by the air's own equation.

Judged on probability, not on a point: near certainty within the horizon, or a real
chance within minutes.  It needs no warm-up, but in its first minutes it knows little;
then level and rate stand guard, and neither is ever delayed or silenced by it.
"""

from collections.abc import Mapping
from typing import Any, Literal

import attrs

from cabinvigil.daemon.core.history import History, o2_facts
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between, Finite
from cabinvigil.daemon.trend.model import CrossingQuery, TrendEstimate
from cabinvigil.daemon.trend.project import crossing

PER = "once"
BY_TREND = True

SIDES: dict[str, Literal["below", "above"]] = {"o2_pct": "below", "co2_ppm": "above"}
"""The side on which each quantity that can be projected is dangerous."""
TOLD_STEP = {"o2_pct": 0.1, "co2_ppm": 1000.0}
"""The step in which a sentence tells each: what is told as the limit is past it."""
EARLY_S = 600.0
"""Until then the filter has hardly seen this night: said in the evidence."""
HELD = 0.5
"""The alarm stands on while a probability is above this share of its setting (own
choice): a filter that wavers must not ring, clear and ring again."""
STOOD = 0.25
"""A chance counts once a quarter of it has stood for half a minute.  A flame's grows in
minutes, so this costs up to 1 % of the lead (tests/bench/projection.py); that of three
odd readings springs up from nothing, and is gone as soon (our choice)."""
MORE_LIKELY_THAN_NOT = 0.5
"""From this chance on, the horizon itself is told as the moment (our choice)."""


def _projected(_: Any, field: Any, value: str) -> None:
    if value not in SIDES:
        known = ", ".join(SIDES)
        raise ValueError(f"{field.name}: {value!r} is not projected; known: {known}")


@attrs.frozen
class Params:
    """A limit, and how likely its crossing must be to ring."""

    quantity: Literal["o2_pct", "co2_ppm"] = attrs.field(validator=_projected)
    side: Literal["below", "above"]
    limit: float = attrs.field(validator=Finite(laxer="outward"))
    horizon_s: float = attrs.field(
        default=1200.0, validator=Between(60.0, 7200.0, laxer="lower")
    )
    probability: float = attrs.field(
        default=0.93, validator=Between(0.05, 0.99, laxer="higher")
    )
    soon_s: float = attrs.field(
        default=300.0, validator=Between(30.0, 1800.0, laxer="lower")
    )
    soon_probability: float = attrs.field(
        default=0.4, validator=Between(0.01, 0.9, laxer="higher")
    )
    high_probability: float = attrs.field(
        default=0.6, validator=Between(0.01, 0.99, laxer="higher")
    )
    """Chance within `soon_s` from which it is a matter of getting up at once."""
    margin: float = attrs.field(default=0.05, validator=Between(0.0, laxer="lower"))
    """How far on the safe side of the limit the crossing is judged, in the quantity's
    unit: half of what an O2 cell's own accuracy is worth."""

    least_fall_pct: float = attrs.field(
        default=0.15, validator=Between(0.0, 1.0, laxer="higher")
    )
    """O2 must have come down by this much first: a breath on the CO2 sensor looks like
    a fierce burner for half a minute (a recorded room had a puff of 900 ppm; on the
    benchmark this costs 0.2 % of the lead).  Not asked where O2 is near already."""
    near_pct: float = attrs.field(
        default=0.5, validator=Between(0.0, 5.0, laxer="lower")
    )

    def __attrs_post_init__(self) -> None:
        """Refuse a side on which the quantity harms nobody."""
        if self.side != SIDES[self.quantity]:
            right = SIDES[self.quantity]
            raise ValueError(f"side is {self.side!r}; {self.quantity} needs {right!r}")


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the probability of crossing within the horizon, and within minutes.

    Returns:
        None where the trend cannot tell, or where all that says 'safe' is doubtful.
    """
    del now  # the estimate is of now, or there is none
    trend: TrendEstimate | None = history.trend
    if trend is None:
        return None
    inwards = params.margin if params.side == "below" else -params.margin
    level = params.limit + inwards
    within_far, within_near = (
        crossing(trend, CrossingQuery(params.quantity, level, params.side, horizon_s))
        for horizon_s in (params.horizon_s, params.soon_s)
    )
    if within_far is None or within_near is None:
        return None
    far, near = within_far.probability, within_near.probability
    priority = None
    if _is_real(params, trend):
        priority = _priority(
            params,
            min(far, within_far.lowest / STOOD),
            min(near, within_near.lowest / STOOD),
            1.0,
        )
    worst = history.worst(params.quantity, params.side)
    if priority is None and worst is not None and worst[1].doubtful:
        return None
    facts = _facts(params, history, trend)
    if priority is not None:
        _bound_minutes(params, far, facts)
    return Verdict(
        priority,
        _priority(params, far, near, HELD),
        facts,
        evidence=_evidence(params, trend, far, near),
        severity=far + near,
        wording="past" if _is_past(params, facts) else "",
    )


def _is_past(params: Params, facts: Mapping[str, float | str]) -> bool:
    """Return whether the limit is reached: then nothing is left to forecast."""
    value = facts.get(params.quantity)
    if not isinstance(value, float):
        return False
    half_step = TOLD_STEP[params.quantity] / 2.0
    if params.side == "below":
        return value < params.limit + half_step
    return value >= params.limit - half_step


def _is_real(params: Params, trend: TrendEstimate) -> bool:
    """Return whether more than a puff at the sensor has happened."""
    if trend.o2_fallen_pct >= params.least_fall_pct:
        return True
    return params.side == "below" and trend.o2_pct <= params.limit + params.near_pct


def _priority(params: Params, far: float, near: float, share: float) -> Priority | None:
    if near >= params.high_probability * share:
        return Priority.HIGH
    if near >= params.soon_probability * share or far >= params.probability * share:
        return Priority.MEDIUM
    return None


def _facts(
    params: Params, history: History, trend: TrendEstimate
) -> dict[str, float | str]:
    facts: dict[str, float | str] = {"limit": params.limit}
    if params.quantity == "o2_pct":
        facts.update(o2_facts(history))
        facts["settles_pct"] = trend.o2_settles_pct[1]
        minutes = trend.o2_minutes
    else:
        # What was read, as everywhere else: the estimate overshoots where it jumps.
        worst = history.worst("co2_ppm", "above")
        if worst is not None:
            facts["co2_ppm"] = worst[1].value
        elif trend.co2_ppm is not None:
            facts["co2_ppm"] = trend.co2_ppm
        minutes = trend.co2_minutes
    if minutes is not None and minutes[1] is not None:
        facts["minutes"] = minutes[1]
    return facts


def _bound_minutes(params: Params, far: float, facts: dict[str, float | str]) -> None:
    """Say no later moment than the one that it sounds for.

    The middle of all futures may lie beyond it: a little, as the limit does beyond the
    level judged, or by hours, where it sounds for a fair chance of the next minutes.
    """
    minutes, horizon_min = facts.get("minutes"), params.horizon_s / 60.0
    if isinstance(minutes, float) and minutes > horizon_min:
        del facts["minutes"]
        if far >= MORE_LIKELY_THAN_NOT:
            facts["minutes"] = horizon_min


def _evidence(
    params: Params, trend: TrendEstimate, far: float, near: float
) -> dict[str, Any]:
    is_o2 = params.quantity == "o2_pct"
    return {
        "probability": far,
        "horizon_s": params.horizon_s,
        "soon_probability": near,
        "soon_s": params.soon_s,
        "limit": params.limit,
        "margin": params.margin,
        "rate_per_h": trend.o2_rate_pct_per_h if is_o2 else trend.co2_rate_ppm_per_h,
        "minutes": trend.o2_minutes if is_o2 else trend.co2_minutes,
        "o2_settles_pct": trend.o2_settles_pct,
        "air_changes_per_h": trend.air_changes_per_h,
        "source_ppm_per_h": trend.source_ppm_per_h,
        "burn_kw": trend.burn_kw,
        "o2_per_co2": trend.o2_per_co2,
        "sensors": list(trend.sensors),
        "watched_s": trend.watched_s,
        "o2_fallen_pct": trend.o2_fallen_pct,
        "still_learning": trend.watched_s < EARLY_S,
    }


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.HIGH
