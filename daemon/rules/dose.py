"""Carbon monoxide as a dose: blood now and an hour ahead, and the standards' times."""

from typing import Literal

import attrs

from cabinvigil.daemon.air.blood import cohb_step
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between, Finite, not_empty

PER = "once"


@attrs.frozen
class DoseStep:
    """One step of the ladder."""

    at: float = attrs.field(validator=Between(0.1, 100.0, laxer="higher"))
    """Carboxyhaemoglobin, in % of haemoglobin."""
    priority: Literal["low", "medium", "high"]


@attrs.frozen
class Params:
    """A ladder of carboxyhaemoglobin, and how far ahead it looks."""

    steps: list[DoseStep] = attrs.field(validator=not_empty)
    ahead_s: float = attrs.field(
        default=3600.0, validator=Between(0.0, 86_400.0, laxer="lower")
    )
    dead_band_pct: float = attrs.field(
        default=0.2, validator=Between(0.0, 10.0, laxer="lower")
    )
    clear_below_ppm: float = attrs.field(default=30.0, validator=Finite(laxer="higher"))
    """The alarm standards' part clears only when CO itself is under this."""
    standard_priority: Literal["medium", "high"] = "medium"
    """Priority when the alarm standards' time is over."""


HELD_FRACTION = 0.9
"""A due alarm stands on while the fraction is above this: the dead-band (own choice),
38 minutes of clean air by the half-life of the fraction."""


def _climb(params: Params, most_pct: float) -> tuple[Priority | None, Priority | None]:
    """Return what the blood's ladder raises, and what may stand on."""
    raised: Priority | None = None
    hold: Priority | None = None
    for step in params.steps:
        priority = Priority[step.priority.upper()]
        if most_pct >= step.at:
            raised = priority if raised is None else max(raised, priority)
        if most_pct >= step.at - params.dead_band_pct:
            hold = priority if hold is None else max(hold, priority)
    return raised, hold


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the dose so far, and what an hour more of the present level would make it.

    Returns:
        None where no CO series is fresh: a dose that is not measured is not known.
    """
    del now
    worst = history.worst("co_ppm", "above")
    if worst is None:
        return None
    key, series = worst
    dose = history.dose
    co_ppm = max(series.value, 0.0)
    ahead_pct = cohb_step(dose.cohb_pct, co_ppm, params.ahead_s)
    most_pct = max(dose.cohb_pct, ahead_pct)
    raised, hold = _climb(params, most_pct)
    wording = ""
    if dose.alarm_fraction >= HELD_FRACTION and co_ppm >= params.clear_below_ppm:
        due = Priority[params.standard_priority.upper()]
        hold = due if hold is None else max(hold, due)
        if dose.alarm_fraction >= 1.0 and (raised is None or raised < due):
            raised, wording = due, "standard"
    if raised is None and (series.doubtful or series.at_least):
        return None
    facts = {
        "co_ppm": co_ppm,
        "cohb_pct": most_pct,
        "hours": params.ahead_s / 3600.0,
    }
    evidence = {
        "series": key,
        "co_ppm": co_ppm,
        "cohb_pct": dose.cohb_pct,
        "cohb_ahead_pct": ahead_pct,
        "alarm_fraction": dose.alarm_fraction,
    }
    return Verdict(raised, hold, facts, evidence, most_pct, wording)
