"""The heart: `step(state, event, now) -> (state, commands)`, pure.

The same readings give the same alarms, whether they come from wires tonight, from an
emulated cabin, or from the log of a night long gone.
"""

from dataclasses import replace
from math import isfinite
from typing import Any

from cabinvigil.daemon.core import bump, trial
from cabinvigil.daemon.core import history as past
from cabinvigil.daemon.core.alarm import ASIDE, IN_ALARM
from cabinvigil.daemon.core.alarm_status import AlarmStatus, advance
from cabinvigil.daemon.core.all_clear import all_clear
from cabinvigil.daemon.core.answers import (
    count_answer,
    settle_button,
    tell_who,
    without_answers,
)
from cabinvigil.daemon.core.breathed import bodies, with_partial_pressure
from cabinvigil.daemon.core.changes import announce_changes
from cabinvigil.daemon.core.contacts import DOOR, opened
from cabinvigil.daemon.core.dose import breathe_co, worse_of
from cabinvigil.daemon.core.leading import led
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    AlarmState,
    Command,
    Estimate,
    Event,
    Record,
    Sound,
    SourceFault,
    SourceOk,
    Verdict,
)
from cabinvigil.daemon.core.operator_actions import act
from cabinvigil.daemon.core.setup import AlarmSpec, Setup, TrendPort, is_unseen
from cabinvigil.daemon.core.shelving import stay_aside, suppress
from cabinvigil.daemon.core.state import State as State

TREND = "trend"
"""The source of the fault that the trend has failed."""
TEST_EVERY_S = 600.0
"""The sounder is tested once in ten minutes, whoever asks for it."""
TREND_EVERY_S = 10.0
"""The trend's estimate is renewed this often: its own step (design.md, section 6)."""
ESTIMATE_EVERY_S = 60.0
"""The estimate is told once a minute (design.md, section 3)."""


def start(setup: Setup, now: float) -> State:
    """Start with nothing known and nothing standing."""
    trend_state = setup.trend.start() if setup.trend is not None else None
    return State(
        setup,
        now,
        past.begin(setup.layout, now),
        {spec.id: AlarmStatus() for spec in setup.alarms},
        trend_state,
        estimated_s=now,
    )


def step(state: State, event: Event, now: float) -> tuple[State, list[Command]]:
    """Take one event and say what must be done.

    Args:
        state: what was known.
        event: what happened.
        now: monotonic seconds; one before the last event's counts as the last's.

    Returns:
        What is known now, and the commands in the order they are to be carried out.
    """
    now = max(now, state.now)
    state = replace(state, now=now)
    if isinstance(event, Air):
        return _air(state, _numbers(event), now)
    if isinstance(event, Act):
        return _act(state, event, now)
    return _source(state, event, now)


def _air(state: State, event: Air, now: float) -> tuple[State, list[Command]]:
    """Take a tick of readings, were it an empty one."""
    before = state.history
    state = _breathe(state, event, now)
    said: list[Command] = [Record("air", _air_fields(event))]
    said += [door_mark() for _ in opened(state.history, before)]
    state, judged = _judge(state, now)
    state, told = _tell_estimate(replace(state, before_s=now), now)
    return state, said + told + judged


def door_mark() -> Record:
    """Mark that a door has opened: whoever reads the night sees why the air leapt."""
    return Record("mark", {"text": "door open", "by": DOOR}, urgent=True)


def _numbers(air: Air) -> Air:
    """Leave out what is no number: nothing was given, and no log can hold it."""
    if all(isfinite(value) for value in air.values.values()):
        return air
    values = {key: value for key, value in air.values.items() if isfinite(value)}
    return replace(air, values=values)


def _air_fields(air: Air) -> dict[str, Any]:
    fields: dict[str, Any] = dict(air.values)
    if air.at_least:
        fields["at_least"] = sorted(air.at_least)
    if air.doubtful:
        fields["doubtful"] = sorted(air.doubtful)
    return fields


def _breathe(state: State, air: Air, now: float) -> State:
    """Take a tick's values: series, dose and trend."""
    setup, history = state.setup, state.history
    series = past.breathe(history, air, now)
    history = replace(history, now=now, ticked_s=now, series=series)
    history = with_partial_pressure(history)
    worst_co = history.worst("co_ppm", "above")
    # Gas that is held to a part is not what anybody breathes.
    if worst_co is not None and now >= state.bump.until_s:
        # Since the last readings, not since the last event: an act takes no time away.
        gap_s = now - max(state.before_s, history.started_s)
        dose = breathe_co(history.dose, worst_co[1].value, gap_s, *bodies(history))
        if worst_co[1].doubtful:
            dose = worse_of(dose, history.dose)
        history = replace(history, dose=dose)
    if setup.trend is None or now < state.bump.trend_from_s:
        return replace(state, history=history)
    return _follow(replace(state, history=history), setup.trend, now)


def _follow(state: State, trend: TrendPort, now: float) -> State:
    """Let the trend take this tick's values; its own bug is a fault, and no end.

    It begins again with the next tick: the limits guard all the while.
    """
    history, trend_s, trend_state = state.history, state.trend_s, state.trend_state
    values, leaders, changed = led(history, state.leaders)
    state = replace(state, leaders=leaders)
    try:
        if changed:
            trend_state = trend.reanchor(trend_state, changed)
        trend_state = trend.update(trend_state, now, values)
        if now - trend_s >= TREND_EVERY_S:
            trend_s = now
            history = replace(history, trend=trend.estimate(trend_state, now))
            if history.trend is not None and TREND in history.sources:
                history = history.without_fault(TREND)
    except Exception as bug:
        text = (
            f"The forecast has failed ({type(bug).__name__}), the limits still sound. "
            "Look at the log."
        )
        history = history.with_fault(SourceFault(TREND, "failed", text))
        history = replace(history, trend=None)
        return replace(state, history=history, trend_state=trend.start(), trend_s=now)
    return replace(state, history=history, trend_state=trend_state, trend_s=trend_s)


def _tell_estimate(state: State, now: float) -> tuple[State, list[Command]]:
    trend, estimate = state.setup.trend, state.history.trend
    if trend is None or now - state.estimated_s < ESTIMATE_EVERY_S:
        return state, []
    state = replace(state, estimated_s=now)
    return state, [] if estimate is None else [Estimate(trend.fields(estimate))]


def _source(
    state: State, event: SourceFault | SourceOk, now: float
) -> tuple[State, list[Command]]:
    """Take a fault of a part, an output or the monitor, or its end."""
    if isinstance(event, SourceFault):
        history = state.history.with_fault(event)
        fields = {"source": event.source, "kind": event.kind, "text": event.text}
    else:
        history = state.history.without_fault(event.source)
        fields = {"source": event.source, "kind": "ok", "text": ""}
    state, judged = _judge(replace(state, history=history), now)
    return state, [Record("fault", fields, urgent=True), *judged]


def _act(state: State, event: Act, now: float) -> tuple[State, list[Command]]:
    """Take what a person did."""
    said: list[Command] = [act_record(event)]
    if event.kind is ActKind.TEST and can_test(state, now):
        state = _tell_test(replace(state, tested_s=now))
        said.append(Sound("test"))
    if event.kind is ActKind.BUMP_TEST:
        state, begun = bump.begin(state, event, now)
        said += begun
    elif event.kind is ActKind.BUMP_END and not event.is_outside:
        state, ended = bump.end(state, now)
        said += ended
    if event.kind is ActKind.TRIAL:
        state, begun = trial.begin(state, event, now)
        said += begun
    state, ended = trial.end_asked(state, event, now)
    said += ended
    before = state.standings
    state = count_answer(state, event, now)
    standings, verdicts = act(state.setup, before, state.history, event, now)
    state, standings = without_answers(state, before, standings, event, now)
    state = tell_who(state, before, standings, event, now)
    state = replace(state, standings=standings)
    state, told = announce_changes(state, before, verdicts, now)
    state, judged = _judge(state, now)
    return state, said + told + judged


def can_test(state: State, now: float) -> bool:
    """Return whether the sounder may be tested: not again yet, and not in a danger.

    Beside an alarm that wakes people, answered or not, the test would be taken for it.
    """
    if now - state.tested_s < TEST_EVERY_S:
        return False
    return not any(one.wakes for one in state.standings.values())


def _tell_test(state: State) -> State:
    """Let the phones know that what sounds now is a test."""
    return state.with_line("test", {}, expiry_s=TEST_EVERY_S)


def act_record(event: Act) -> Record:
    """Format a person's act for the log."""
    if event.kind is ActKind.MARK:
        return Record("mark", {"text": event.text, "by": event.by}, urgent=True)
    fields = {
        "act": event.kind.value,
        "alarm": event.alarm,
        "by": event.by,
        "text": event.text,
        "for_s": event.for_s,
    }
    if event.age_s:
        fields["age_s"] = event.age_s
    return Record("act", fields, urgent=True)


def _judge(state: State, now: float) -> tuple[State, list[Command]]:
    """Ask every rule, move every alarm, and say what changed."""
    state, ended = bump.settle(settle_button(state, now), now)
    history, before = state.history, state.standings
    before_s = now if state.before_s == float("-inf") else state.before_s
    moved: dict[str, AlarmStatus] = {}
    verdicts: dict[str, Verdict | None] = {}
    coverable: list[tuple[AlarmSpec, Verdict | None]] = []
    for spec in state.setup.alarms:
        # Of the air as it was read last: between two slow ticks no value grows stale.
        verdict = spec.judge(spec.params, history, history.now)
        standing = before[spec.id]
        if spec.suppressed_by:
            coverable.append((spec, verdict))
        if _rests(standing, verdict):
            continue
        if standing.state in ASIDE:
            after = stay_aside(spec, standing, verdict, now)
        else:
            is_lost = verdict is None and is_unseen(spec, history)
            after = advance(spec, standing, verdict, now, before_s, is_unseen=is_lost)
        if after is not standing:
            moved[spec.id] = after
            verdicts[spec.id] = verdict
    standings = {**before, **moved}
    _suppress(standings, coverable, verdicts, now)
    if verdicts:
        state = replace(state, standings=standings)
    state, over = trial.settle(state, before, now)
    state, told = announce_changes(all_clear(state, now), before, verdicts, now)
    return state, ended + over + told


def _rests(standing: AlarmStatus, verdict: Verdict | None) -> bool:
    """Return whether nothing asks an alarm to move: most of them, at most times."""
    return (
        standing.state is AlarmState.NORMAL
        and standing.rising_s is None
        and (verdict is None or verdict.priority is None)
    )


def _suppress(
    standings: dict[str, AlarmStatus],
    coverable: list[tuple[AlarmSpec, Verdict | None]],
    verdicts: dict[str, Verdict | None],
    now: float,
) -> None:
    """Hold back, in place, the faults whose cause an alarm shows that stands now."""
    for spec, verdict in coverable:
        is_covered = any(
            other in standings and standings[other].state in IN_ALARM
            for other in spec.suppressed_by
        )
        standing = standings[spec.id]
        after = suppress(spec, standing, verdict, now, is_covered=is_covered)
        if after is not standing:
            standings[spec.id] = after
            verdicts[spec.id] = verdict
