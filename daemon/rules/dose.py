"""Carbon monoxide as a dose: blood now and an hour ahead, and the standards' times."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import attrs

from cabinvigil.daemon.air.blood import Body, breathe
from cabinvigil.daemon.core.breathed import bodies
from cabinvigil.daemon.core.history import History, Series
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between, Finite, not_empty

PER = "once"
SHOWN_WITH = "co_ppm"


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
    clean_below_ppm: float = attrs.field(default=10.0, validator=Finite(laxer="higher"))
    """Under this a dose that only falls is no news of the air: `low` and `medium` end,
    while `high` goes on asking for help.  The WHO's eight-hour value is 10 ppm (Air
    Quality Guidelines for Europe 2000)."""
    standard_priority: Literal["medium", "high"] = "high"
    """Priority when the alarm standards' time is over: where a certified alarm sounds,
    it orders people out."""


CLEAN_SHARE = 0.8
"""Air counts as clean again for an alarm that stands at this share of the level under
which none is raised: the dead-band (our choice)."""
HELD_FRACTION = 0.9
"""A due alarm stands on while the fraction is above this: the dead-band (our choice),
49 minutes of clean air by the half-life of the fraction."""


@dataclass(frozen=True, slots=True)
class _Blood:
    """What one of the sleepers carries."""

    name: str
    now_pct: float
    ahead_pct: float
    start_pct: float

    @property
    def most_pct(self) -> float:
        return max(self.now_pct, self.ahead_pct)

    @property
    def falls(self) -> bool:
        return self.ahead_pct <= self.now_pct

    def counts(self, step: DoseStep, *, is_clean: bool) -> bool:
        """Return whether a step tells something of this air.

        Below `high` it does not where the dose only falls in clean air, nor where the
        sleeper had it at bedtime.
        """
        if step.priority == "high":
            return True
        return step.at > self.start_pct and not (is_clean and self.falls)


def _bloods(params: Params, history: History, co_ppm: float) -> Iterator[_Blood]:
    """Yield what each of the sleepers carries, an adult at rest first."""
    dose = history.dose
    adult, others = bodies(history)

    def blood(name: str, body: Body, now_pct: float) -> _Blood:
        ahead_pct = breathe(now_pct, co_ppm, params.ahead_s, body)
        return _Blood(name, now_pct, ahead_pct, body.start_pct)

    yield blood("adult", adult, dose.cohb_pct)
    for name, body in others.items():
        yield blood(name, body, dose.of(name, body))


def _climb(
    params: Params, blood: _Blood, clean_ppm: float
) -> tuple[Priority | None, Priority | None]:
    """Return what one sleeper's ladder raises, and what may stand on.

    Args:
        params: the ladder.
        blood: the sleeper's.
        clean_ppm: carbon monoxide in the air, infinite where that is not known.
    """
    raised: Priority | None = None
    hold: Priority | None = None
    is_clean = clean_ppm < params.clean_below_ppm
    is_clean_again = clean_ppm < CLEAN_SHARE * params.clean_below_ppm
    for step in params.steps:
        priority = Priority[step.priority.upper()]
        is_at = blood.most_pct >= step.at
        if is_at and blood.counts(step, is_clean=is_clean):
            raised = priority if raised is None else max(raised, priority)
        is_near = blood.most_pct >= step.at - params.dead_band_pct
        if is_near and blood.counts(step, is_clean=is_clean_again):
            hold = priority if hold is None else max(hold, priority)
    return raised, hold


def _weight(priority: Priority | None) -> int:
    return 0 if priority is None else priority


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
    co_ppm = max(series.value, 0.0)
    clean_ppm = co_ppm if _is_sure(series) else math.inf
    climbs = [
        (blood, *_climb(params, blood, clean_ppm))
        for blood in _bloods(params, history, co_ppm)
    ]
    blood, raised, _ = max(climbs, key=lambda c: (_weight(c[1]), c[0].most_pct))
    hold = max((hold for _, _, hold in climbs), key=_weight)
    is_over = clean_ppm < params.clean_below_ppm and blood.falls
    wording = "after" if is_over else ""
    fraction = history.dose.alarm_fraction
    if fraction >= HELD_FRACTION and co_ppm >= params.clear_below_ppm:
        due = Priority[params.standard_priority.upper()]
        hold = due if hold is None else max(hold, due)
        if fraction >= 1.0 and (raised is None or raised < due):
            raised, wording = due, "standard"
    if raised is Priority.HIGH and not wording and not _has_it(params, blood):
        wording = "ahead"
    if raised is None and not _is_sure(series):
        return None
    facts = {
        "co_ppm": co_ppm,
        "cohb_pct": blood.most_pct,
        "hours": params.ahead_s / 3600.0,
    }
    evidence = {
        "series": key,
        "co_ppm": co_ppm,
        "body": blood.name,
        "cohb_pct": blood.now_pct,
        "cohb_ahead_pct": blood.ahead_pct,
        "alarm_fraction": fraction,
    }
    return Verdict(raised, hold, facts, evidence, blood.most_pct, wording)


def _has_it(params: Params, blood: _Blood) -> bool:
    """Return whether a sleeper carries by now what sounds `high`, not an hour ahead."""
    return any(
        step.priority == "high" and blood.now_pct >= step.at - params.dead_band_pct
        for step in params.steps
    )


def _is_sure(series: Series) -> bool:
    """Return whether a value may say that all is well."""
    return not (series.doubtful or series.at_least)


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as: its gravest step, or the standards'."""
    words = [step.priority for step in params.steps]
    return max(Priority[word.upper()] for word in (*words, params.standard_priority))
