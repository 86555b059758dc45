"""A quantity at or beyond a limit, now or as a mean over hours."""

from collections.abc import Mapping
from typing import Literal

import attrs

from cabinvigil.daemon.core.facts import o2_facts, place_of
from cabinvigil.daemon.core.history import History, Series
from cabinvigil.daemon.core.model import Priority, Verdict

PER = "once"


@attrs.frozen
class Step:
    """One step of the ladder."""

    at: float
    """The limit, in the quantity's unit; reached counts."""
    priority: Literal["low", "medium", "high"]
    over_s: float = 0.0
    """0: the value now; else the mean over this many seconds."""


@attrs.frozen
class Params:
    """A ladder of limits on one quantity."""

    quantity: str
    side: Literal["below", "above"]
    steps: list[Step]
    dead_band: float = 0.0
    """It must come back past the limit by this much, in the quantity's unit."""
    place: str | None = None
    """One place only; None: the worst of all places where people breathe."""
    before: float = 0.0
    """What a mean assumes for the time before the watch began."""


def _beyond(value: float, limit: float, side: str) -> bool:
    return value <= limit if side == "below" else value >= limit


def _value(history: History, params: Params, step: Step) -> float | None:
    if step.over_s <= 0.0:
        worst = history.worst(params.quantity, params.side, params.place)
        return None if worst is None else worst[1].value
    means = [
        mean
        for key in history.setup.index(params.quantity, params.place)
        if (mean := history.mean(key, step.over_s, params.before)) is not None
    ]
    if not means:
        return None
    return min(means) if params.side == "below" else max(means)


def _trusted(params: Params, series: Series) -> bool:
    """Say whether a value may clear: a doubtful one, or a lower bound, may not."""
    return not series.doubtful and not (series.at_least and params.side == "below")


def _excess(value: float, params: Params, step: Step) -> float:
    return step.at - value if params.side == "below" else value - step.at


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the ladder against the worst fresh value.

    Returns:
        None where no series of the quantity is fresh, or where only a doubtful value
        would say that all is well.
    """
    del now
    worst = history.worst(params.quantity, params.side, params.place)
    if worst is None:
        return None
    key, series = worst
    raised: Priority | None = None
    hold: Priority | None = None
    reached: Step | None = None
    margin = params.dead_band if params.side == "below" else -params.dead_band
    for step in params.steps:
        value = _value(history, params, step)
        if value is None:
            continue
        priority = Priority[step.priority.upper()]
        if _beyond(value, step.at, params.side):
            if raised is None or priority >= raised:
                raised, reached = priority, step
        elif not _beyond(value, step.at + margin, params.side):
            continue
        hold = priority if hold is None else max(hold, priority)
    if raised is None and not _trusted(params, series):
        return None
    return _verdict(params, history, key, series, raised, hold, reached)


def _verdict(
    params: Params,
    history: History,
    key: str,
    series: Series,
    raised: Priority | None,
    hold: Priority | None,
    reached: Step | None,
) -> Verdict:
    if raised is None or reached is None:
        return Verdict(None, hold)
    facts: dict[str, float | str] = {}
    if params.quantity == "o2_pct":
        facts |= o2_facts(history)
    facts[params.quantity] = series.value
    facts["limit"] = reached.at
    wording = ""
    if reached.over_s > 0.0:
        wording = "mean"
        facts["hours"] = reached.over_s / 3600.0
        facts[params.quantity] = _value(history, params, reached) or series.value
    return Verdict(
        raised,
        hold,
        facts,
        evidence={"series": key, "value": series.value, "limit": reached.at}
        | ({"over_s": reached.over_s} if reached.over_s else {})
        | {"part": place_of(history, key)},
        worse=_excess(series.value, params, params.steps[0]),
        wording=wording,
    )


def laxer(params: Params, published: Params) -> list[str]:
    """List what is less strict here than in the published limits; empty is fine."""
    said = []
    below = params.side == "below"
    for step in published.steps:
        same = [
            own
            for own in params.steps
            if own.over_s == step.over_s and own.priority == step.priority
        ]
        if not same:
            said.append(f"the {step.priority} step at {step.at:g} is gone")
            continue
        strictest = max(own.at for own in same) if below else min(o.at for o in same)
        if strictest < step.at if below else strictest > step.at:
            said.append(
                f"the {step.priority} step is at {strictest:g}, published {step.at:g}"
            )
    return said


def urgent(params: Params) -> Mapping[str, tuple[str, float]]:
    """Return the limit whose crossing should be judged at once, by quantity."""
    now_steps = [step.at for step in params.steps if step.over_s <= 0.0]
    if not now_steps:
        return {}
    first = max(now_steps) if params.side == "below" else min(now_steps)
    return {params.quantity: (params.side, first)}
