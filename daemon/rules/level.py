"""A quantity at or beyond a limit, now or as a mean over hours."""

from collections.abc import Mapping
from typing import Literal

import attrs

from cabinvigil.daemon.air.atmosphere import altitude_like_m
from cabinvigil.daemon.air.moisture import vapour_hpa
from cabinvigil.daemon.core.breathed import air_hpa
from cabinvigil.daemon.core.history import History, Series, o2_facts, place_of
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import (
    Between,
    Finite,
    FiniteOrNever,
    is_quantity,
    not_empty,
)
from cabinvigil.daemon.core.vital import DOUBT_COUNTS_S
from cabinvigil.daemon.core.warmth import RUNS_S, least_true
from cabinvigil.drivers.kit.quantity import BUNK_WORDS, split_channel

PER = "once"

RECENT_S = 600.0
"""A mean over hours counts no worse than that of the last ten minutes: once the air is
good again, it tells nothing that calls for an act, and must not hold the all-clear back
for the rest of its hours (our choice)."""
MEAN_DEAD_BAND = 0.1
"""The widest dead-band of a mean, as a share of its limit: a mean wavers less than a
value does (our choice)."""
SHARE_DEAD_BAND = 0.2
"""As far as oxygen must rise past a step's share, in %: as `o2-low` has it."""
MOST_VAPOUR_SHARE = 0.03
"""Water vapour explains no more oxygen away than this part of the air: saturated air of
20 C at 2 500 m.  A part by the stove must not call bad air damp (our choice)."""
CELL_GIVES = ("o2_pct", "o2_hpa")
SILENT_COUNTS_S = 1800.0
"""A place whose part fell silent beyond a limit holds its alarm for half an hour though
other places are well; by then a cabin has mixed (our choice)."""


@attrs.frozen
class LevelStep:
    """One step of the ladder."""

    at: float = attrs.field(validator=Finite(laxer="outward"))
    """The limit, in the quantity's unit; reached counts."""
    priority: Literal["low", "medium", "high"]
    over_s: float = attrs.field(
        default=0.0, validator=Between(0.0, 28_800.0, laxer="either")
    )
    """0: the value now; else the mean over this many seconds, eight hours at most."""
    share_pct: float = attrs.field(
        default=100.0, validator=Between(0.0, 100.0, laxer="lower")
    )
    """On `o2_hpa`: only where oxygen is also at or below this share of the air, in %,
    its water vapour, where it is measured, not counted.  What is thin and otherwise
    good is the height's, and no vent helps it."""


def _place(word: str | None) -> str | None:
    """Take a word for the bunk for the bunk, as a part's place does."""
    return "" if word in BUNK_WORDS else word


@attrs.frozen
class Params:
    """A ladder of limits on one quantity."""

    quantity: str = attrs.field(validator=is_quantity)
    side: Literal["below", "above"]
    steps: list[LevelStep] = attrs.field(validator=not_empty)
    dead_band: float = attrs.field(default=0.0, validator=Between(0.0, laxer="lower"))
    """It must come back past the limit by this much, in the quantity's unit."""
    place: str | None = attrs.field(default=None, converter=_place)
    """One place only; None: the worst of all places where people breathe."""
    before: float = attrs.field(default=0.0, validator=Finite(laxer="inward"))
    """What a mean assumes for the time before the monitor began."""
    no_quiet_at: float | None = attrs.field(
        default=None, validator=FiniteOrNever(laxer="outward")
    )
    """At this value or beyond no answer quiets the sound; None: never."""

    def __attrs_post_init__(self) -> None:
        """Refuse a share of oxygen where no oxygen is judged."""
        is_pressure = self.quantity == "o2_hpa"
        if not is_pressure and any(step.share_pct < 100.0 for step in self.steps):
            raise ValueError(f"share_pct is for o2_hpa, not for {self.quantity}")


Mean = tuple[float, float]
"""What counts of a mean, and the mean itself."""


def _beyond(value: float, limit: float, side: str) -> bool:
    return value <= limit if side == "below" else value >= limit


def _mean(history: History, params: Params, step: LevelStep) -> Mean | None:
    """Return the worst mean of all places, by what counts of it; None: none matters.

    The hours are added up only where the last ten minutes would let the step stand: in
    good air that spares most of what this rule costs.
    """
    is_below = params.side == "below"
    least = step.at + _dead_band(params, step)
    means: list[Mean] = []
    for key in history.layout.index(params.quantity, params.place):
        recent = history.mean(key, min(RECENT_S, step.over_s), params.before)
        if recent is not None and not _beyond(recent, least, params.side):
            continue
        mean = history.mean(key, step.over_s, params.before)
        if mean is not None:
            worst = mean if recent is None else recent
            means.append(((max if is_below else min)(mean, worst), mean))
    if not means:
        return None
    return min(means) if is_below else max(means)


def _share_pct(history: History, params: Params) -> float:
    """Return the share of oxygen in the air, were it dry; 0 where nobody tells.

    The least that is known beyond doubt: doubtful ones let no thin air pass, but for
    the minutes in which a part warms up.  The same signal gave the pressure: what is
    in doubt says no more of the one than of the other.
    """
    if all(step.share_pct >= 100.0 for step in params.steps):
        return 0.0
    least_pct = _least_known(history, "o2_pct", params.place, is_warming_known=True)
    return (least_pct or 0.0) / (1.0 - _vapour_share(history))


def _least_known(
    history: History,
    quantity: str,
    place: str | None,
    *,
    is_warming_known: bool = False,
) -> float | None:
    """Return the least fresh value beyond doubt; None where there is none.

    Args:
        history: what is known.
        quantity: of which.
        place: where; None: anywhere.
        is_warming_known: one that has been doubtful for no longer than its part may
            warm up counts too.
    """
    known = []
    for key in history.layout.index(quantity, place):
        series = history.fresh(key)
        if series is None:
            continue
        warm_up_s = max(DOUBT_COUNTS_S, history.layout.series[key].warm_up_s)
        is_warming = history.now - series.doubtful_s < warm_up_s
        if not series.doubtful or (is_warming_known and is_warming):
            known.append(series.value)
    return min(known, default=None)


def _vapour_share(history: History) -> float:
    """Return the part of the air that is water vapour; 0 where nobody tells.

    Damp air that is otherwise good holds less oxygen, and no vent helps that either.
    """
    temp_c = _least_known(history, "temp_c", "")
    rh_pct = _least_known(history, "rh_pct", "")
    at_hpa = air_hpa(history)
    if temp_c is None or rh_pct is None or at_hpa is None:
        return 0.0
    wet_hpa = vapour_hpa(temp_c, rh_pct)
    return min(MOST_VAPOUR_SHARE, max(0.0, wet_hpa / at_hpa))


def _silent(history: History, params: Params, now: float) -> float | None:
    """Return the worst last value of the places that fell silent a while ago.

    A fellow at the same place speaks for a silent part; another place does not.
    """
    silent: dict[str, list[float]] = {}
    heard = set()
    for key in history.layout.index(params.quantity, params.place):
        parts = split_channel(key)
        place = "" if parts is None else parts[1]
        series = history.series[key]
        if history.fresh(key) is not None:
            heard.add(place)
        elif now - series.at_s <= SILENT_COUNTS_S:
            silent.setdefault(place, []).append(series.value)
    left = [value for place in silent.keys() - heard for value in silent[place]]
    if not left:
        return None
    return min(left) if params.side == "below" else max(left)


def _held_by_silence(history: History, params: Params, now: float) -> Priority | None:
    """Return the gravest step that a place which fell silent lets stand."""
    keys = history.layout.index(params.quantity, params.place)
    if len(keys) < 2 or all(history.fresh(key) is not None for key in keys):
        return None
    value = _silent(history, params, now)
    if value is None:
        return None
    at_now = [step for step in params.steps if step.over_s <= 0.0]
    share_pct = _share_pct(history, params)
    return _climb(params, [(step, (value, value)) for step in at_now], share_pct)[1]


Reached = tuple[LevelStep, Mean]
"""A step, and the value or mean that is judged by it."""


def _dead_band(params: Params, step: LevelStep) -> float:
    """Return how far towards the good side of a step an alarm stands on."""
    width = params.dead_band
    if step.over_s > 0.0:
        width = min(width, MEAN_DEAD_BAND * abs(step.at))
    return width if params.side == "below" else -width


def _climb(
    params: Params, values: list[Reached], share_pct: float = 0.0
) -> tuple[Priority | None, Priority | None, Reached | None]:
    """Return what is raised, what may stand on, and the step that tells of it.

    Args:
        params: the ladder.
        values: what is judged, by step.
        share_pct: of oxygen in the air.
    """
    raised: Priority | None = None
    hold: Priority | None = None
    reached: Reached | None = None
    for step, value in values:
        margin = _dead_band(params, step)
        if not _beyond(value[0], step.at + margin, params.side):
            continue
        if share_pct > step.share_pct + SHARE_DEAD_BAND:
            continue
        priority = Priority[step.priority.upper()]
        is_at = _beyond(value[0], step.at, params.side)
        if is_at and share_pct <= step.share_pct:
            if raised is None or priority >= raised:
                raised, reached = priority, (step, value)
        elif raised is None and (hold is None or priority >= hold):
            reached = step, value
        hold = priority if hold is None else max(hold, priority)
    return raised, hold, reached


Worst = tuple[str, Series, float]
"""A series, by its key, and the worst that may truly be where it shows its value."""


def _worst(history: History, params: Params) -> Worst | None:
    """Return the worst fresh series; None where none is fresh."""
    worst = history.worst(params.quantity, params.side, params.place)
    if worst is None or params.side == "above":
        return None if worst is None else (*worst, worst[1].value)
    keys = history.layout.index(params.quantity, params.place)
    lows = [(least_true(history, key), key) for key in keys if history.fresh(key)]
    least, key = min(lows)
    return key, history.series[key], least


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the ladder against the worst fresh value.

    Returns:
        None where no series of the quantity is fresh, or where only a doubtful value,
        or a lower bound, would say that all is well.
    """
    worst = _worst(history, params)
    if worst is None:
        return None
    series, judged = worst[1], worst[2]
    values = []
    # Of two steps of one priority the one on the value now is told.
    for step in sorted(params.steps, key=lambda step: step.over_s <= 0.0):
        value: Mean | None = (judged, judged)
        if step.over_s > 0.0:
            value = _mean(history, params, step)
        if value is not None:
            values.append((step, value))
    raised, hold, reached = _climb(params, values, _share_pct(history, params))
    if raised is None and (series.doubtful or series.at_least):
        return None
    kept = _held_by_silence(history, params, now)
    if kept is not None:
        hold = kept if hold is None else max(hold, kept)
    return _verdict(params, history, worst, (raised, hold), reached)


def _is_deeper(params: Params, step: LevelStep) -> bool:
    """Say whether an earlier step has the same priority: the words must tell which."""
    before = params.steps[: params.steps.index(step)]
    return any(s.priority == step.priority and s.over_s <= 0.0 for s in before)


def _verdict(
    params: Params,
    history: History,
    worst: Worst,
    weight: tuple[Priority | None, Priority | None],
    reached: Reached | None,
) -> Verdict:
    """Put the verdict together, with the numbers for its sentence."""
    key, series, judged = worst
    first = params.steps[0].at
    severity = first - judged if params.side == "below" else judged - first
    quiet_s = _quiet_s(params, judged)
    if reached is None:
        return Verdict(*weight, severity=severity, quiet_s=quiet_s)
    step, (_, value) = reached
    if judged != series.value and step.over_s <= 0.0:
        value = series.value  # a message shows what a part gave
    facts = o2_facts(history) if params.quantity == "o2_pct" else {}
    if params.quantity == "o2_hpa":
        facts["height_m"] = round(altitude_like_m(value), -2)
    facts[params.quantity] = value
    facts["limit"] = step.at
    evidence = {
        "series": key,
        "value": series.value,
        "limit": step.at,
        "part": place_of(history, key),
    }
    wording = "deep" if _is_deeper(params, step) else ""
    if judged != series.value:
        evidence["least"] = judged
        if not _beyond(series.value, step.at, params.side):
            wording = "warming"
    if step.over_s > 0.0:
        wording = "mean"
        facts["hours"] = step.over_s / 3600.0
        evidence["over_s"] = step.over_s
    return Verdict(*weight, facts, evidence, severity, wording, quiet_s=quiet_s)


def _quiet_s(params: Params, value: float) -> float:
    """Return how long an answer may quiet the sound at a value."""
    limit = params.no_quiet_at
    if limit is not None and _beyond(value, limit, params.side):
        return 0.0
    return float("inf")


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as: that of its gravest step."""
    return max(Priority[step.priority.upper()] for step in params.steps)


def urgent(params: Params) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """Return the limits beyond which each reading is judged at once, by quantity."""
    limits = [(params.side, step.at) for step in params.steps if step.over_s <= 0.0]
    return {params.quantity: tuple(limits)} if limits else {}


def means(params: Params) -> Mapping[str, float]:
    """Return the longest time over which a mean is taken, by quantity, in seconds."""
    longest_s = max(step.over_s for step in params.steps)
    found = {params.quantity: longest_s} if longest_s > 0.0 else {}
    # How warm a cell was is asked of the past too, by `least_true`.
    return {**found, "temp_c": RUNS_S} if params.quantity in CELL_GIVES else found
