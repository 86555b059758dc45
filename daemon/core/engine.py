"""The heart: `step(state, event, now) -> (state, commands)`, pure.

The same readings give the same alarms, whether they come from wires tonight, from an
emulated cabin, or from the log of a night long gone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from cabinvigil.daemon.core import history as past
from cabinvigil.daemon.core import standing as life
from cabinvigil.daemon.core.acting import act
from cabinvigil.daemon.core.alarm import IN_ALARM, Trigger
from cabinvigil.daemon.core.dose import breathe_co
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import (
    Act,
    Air,
    AlarmState,
    Alert,
    Command,
    Estimate,
    Event,
    Priority,
    Record,
    Sound,
    SourceFault,
    SourceOk,
    Transition,
    Verdict,
)
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.core.sounding import EXPIRY_S, choose, escalate, is_flood
from cabinvigil.daemon.core.standing import Standing

TREND_EVERY_S = 10.0
"""The trend's estimate is renewed this often: its own step (design.md, section 6)."""
ESTIMATE_EVERY_S = 60.0
ALL_CLEAR_AFTER_S = 300.0
"""Five quiet minutes of known air before 'safe to go back in': two lags of the
slowest gas sensor (t90 of CO2 about 140 s, sensors.md 1)."""
RAISES_KEPT = 32


@dataclass(frozen=True, slots=True)
class State:
    """All that the core knows; frozen."""

    setup: Setup
    history: History
    standings: Mapping[str, Standing]
    trend_state: Any = None
    trend_s: float = float("-inf")
    """When the estimate was last renewed."""
    estimated_s: float = float("-inf")
    """When the estimate was last told."""
    sound: Sound = field(default_factory=lambda: Sound("quiet"))
    before_s: float = float("-inf")
    """When readings last came."""
    raised: tuple[float, ...] = ()
    """The last raises of any alarm, for the flood measure."""
    airing_since_s: float | None = None
    """Since when the air has been clear after a gas alarm, unless told already."""
    airing: bool = False
    """A gas alarm has rung and its all-clear is still owed."""


def start(setup: Setup, now: float) -> State:
    """Start with nothing known and nothing standing."""
    trend_state = setup.trend.start() if setup.trend is not None else None
    return State(
        setup,
        past.begin(setup, now),
        {spec.id: Standing() for spec in setup.alarms},
        trend_state,
        estimated_s=now,
    )


def step(state: State, event: Event, now: float) -> tuple[State, list[Command]]:
    """Take one event and say what must be done.

    Args:
        state: what was known.
        event: what happened.
        now: monotonic seconds; never before the last event's.

    Returns:
        What is known now, and the commands in the order they are to be carried out.
    """
    match event:
        case Air():
            state = _breathe(state, event, now)
            said: list[Command] = [Record("air", _air_fields(event))]
            state, judged = _judge(state, now)
            state, told = _tell_estimate(state, now)
            return state, said + told + judged
        case SourceFault() | SourceOk():
            return _source(state, event, now)
        case Act():
            return _act(state, event, now)


def _air_fields(air: Air) -> dict[str, Any]:
    fields: dict[str, Any] = dict(air.values)
    if air.at_least:
        fields["at_least"] = sorted(air.at_least)
    if air.doubtful:
        fields["doubtful"] = sorted(air.doubtful)
    return fields


def _ruling(history: History) -> dict[str, float]:
    """Return the value of each quantity that rules at the bunk, where it is fresh."""
    values: dict[str, float] = {}
    for (quantity, place), keys in history.setup.places.items():
        if place:
            continue
        side: past.Side = "below" if quantity == "o2_pct" else "above"
        if len(keys) == 1:
            series = history.fresh(keys[0])
        else:
            worst = history.worst(quantity, side, place)
            series = None if worst is None else worst[1]
        if series is not None and series.at_s == history.now and not series.at_least:
            values[quantity] = series.value
    return values


def _breathe(state: State, air: Air, now: float) -> State:
    """Take a tick's values: series, dose and trend."""
    setup, history = state.setup, state.history
    gap_s = now - history.now
    series = past.breathe(history, air, now)
    history = History(
        setup,
        history.started_s,
        now,
        series,
        history.sources,
        history.dose,
        history.trend,
    )
    worst_co = history.worst("co_ppm", "above")
    if worst_co is not None:
        history = replace(
            history,
            dose=breathe_co(history.dose, worst_co[1].value, gap_s),
        )
    if setup.trend is None:
        return replace(state, history=history)
    trend_state = setup.trend.update(state.trend_state, now, _ruling(history))
    trend_s = state.trend_s
    if now - trend_s >= TREND_EVERY_S:
        trend_s = now
        history = replace(history, trend=setup.trend.estimate(trend_state, now))
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
    """Take a fault of a part, an output or the watch, or its end."""
    sources = dict(state.history.sources)
    if isinstance(event, SourceFault):
        sources[event.source] = event
        fields = {"source": event.source, "kind": event.kind, "text": event.text}
    else:
        sources.pop(event.source, None)
        fields = {"source": event.source, "kind": "ok", "text": ""}
    history = replace(state.history, sources=sources, now=now)
    state, judged = _judge(replace(state, history=history), now)
    return state, [Record("fault", fields, urgent=True), *judged]


def _act(state: State, event: Act, now: float) -> tuple[State, list[Command]]:
    """Take what a person did."""
    history = replace(state.history, now=now)
    standings = act(state.setup, state.standings, history, event, now)
    said: list[Command] = [act_record(event)]
    if event.kind.value == "test" and state.sound.pattern == "quiet":
        said.append(Sound("test"))
    before = state.standings
    state = replace(state, history=history, standings=standings)
    state, told = _tell(state, before, {}, now)
    state, judged = _judge(state, now)
    return state, said + told + judged


def act_record(event: Act) -> Record:
    """Spell a person's act for the log."""
    if event.kind.value == "mark":
        return Record("mark", {"text": event.text, "by": event.by}, urgent=True)
    return Record(
        "act",
        {
            "act": event.kind.value,
            "alarm": event.alarm,
            "by": event.by,
            "text": event.text,
            "for_s": event.for_s,
        },
        urgent=True,
    )


def _judge(state: State, now: float) -> tuple[State, list[Command]]:
    """Ask every rule, move every alarm, and say what changed."""
    setup, history, before = state.setup, state.history, state.standings
    before_s = state.before_s if state.before_s != float("-inf") else now
    standings = dict(before)
    verdicts: dict[str, Verdict | None] = {}
    for spec in setup.alarms:
        verdict = spec.judge(spec.params, history, now)
        standing = standings[spec.id]
        moved = life.advance(spec, standing, verdict, now, before_s)
        if spec.suppressed_by:
            moved = _suppress(spec, standings, moved, verdict, now)
        if moved is not standing:
            standings[spec.id] = moved
            verdicts[spec.id] = verdict
    changed, again = escalate(standings, setup.escalate_s, now)
    standings.update(changed)
    state = replace(state, standings=standings, before_s=now)
    state, told = _tell(state, before, verdicts, now)
    state, clear = _all_clear(state, now)
    return state, told + again + clear


def _suppress(
    spec: AlarmSpec,
    standings: Mapping[str, Standing],
    standing: Standing,
    verdict: Verdict | None,
    now: float,
) -> Standing:
    """Hold back a fault whose cause another alarm tells; never more than a fault."""
    covered = any(
        standings[other].state in IN_ALARM
        for other in spec.suppressed_by
        if other in standings
    )
    grave = verdict is not None and (verdict.priority or 0) > Priority.FAULT
    if standing.state is AlarmState.SUPPRESSED:
        if covered and not grave:
            return standing
        return life.take_back(standing, verdict, now)
    if covered and not grave and standing.stands:
        return life.put_aside(spec, standing, Trigger.SUPPRESS, 0.0, now)
    return standing


def _has_rung(before: Standing, after: Standing) -> bool:
    """Say whether an alarm began to sound, or sounded anew."""
    if after.state is not AlarmState.UNACKNOWLEDGED:
        return False
    return (
        before.state is not AlarmState.UNACKNOWLEDGED
        or after.priority > before.priority
        or after.told_worse > before.told_worse
    )


def _tell(
    state: State,
    before: Mapping[str, Standing],
    verdicts: Mapping[str, Verdict | None],
    now: float,
) -> tuple[State, list[Command]]:
    """Compare where alarms stood with where they stand, and say every change."""
    standings = dict(state.standings)
    raised = state.raised
    commands: list[Command] = []
    # First-up: rung while nothing else of its weight was sounding.
    others = any(s.sounds and s.priority >= Priority.MEDIUM for s in before.values())
    for alarm, after in state.standings.items():
        old = before[alarm]
        if after is old:
            continue
        rung = _has_rung(old, after)
        if rung:
            verdict = verdicts.get(alarm)
            first_up = after.priority >= Priority.MEDIUM and not others
            after = replace(
                after,
                text=_sentence(state.setup, alarm, after, verdict),
                first_up=first_up or (old.stands and old.first_up),
            )
            others = others or first_up
            standings[alarm] = after
            raised = (*raised[-(RAISES_KEPT - 1) :], now)
        if rung or after.state is not old.state or after.priority is not old.priority:
            commands.append(_transition(alarm, old, after))
        if rung and (after.priority > Priority.LOW or not is_flood(raised, now)):
            commands.append(_alert(alarm, after))
    sound = choose(standings)
    if sound != state.sound:
        commands.append(sound)
    return replace(state, standings=standings, raised=raised, sound=sound), commands


def _sentence(
    setup: Setup, alarm: str, standing: Standing, verdict: Verdict | None
) -> str:
    if verdict is None:
        if standing.text:
            return standing.text
        verdict = Verdict(standing.priority)
    name = alarm.split("/", 1)[0]
    return setup.render(name, standing.priority, verdict.wording, verdict.facts)


def _transition(alarm: str, before: Standing, after: Standing) -> Transition:
    return Transition(
        alarm,
        after.state,
        before.state,
        after.priority,
        after.text,
        after.since_s,
        after.first_up,
        after.evidence,
    )


def _alert(alarm: str, standing: Standing) -> Alert:
    return Alert(
        alarm,
        standing.priority,
        standing.text,
        expiry_s=EXPIRY_S[standing.priority],
    )


def _all_clear(state: State, now: float) -> tuple[State, list[Command]]:
    """Say when it is safe to go back in, once clear and known air has held."""
    grave = [
        state.standings[spec.id]
        for spec in state.setup.alarms
        if spec.about_air and state.standings[spec.id].stands
    ]
    if any(standing.priority >= Priority.MEDIUM for standing in grave):
        if state.airing and state.airing_since_s is None:
            return state, []
        return replace(state, airing=True, airing_since_s=None), []
    if not state.airing:
        return state, []
    known = all(
        state.history.worst(quantity, "below") is not None
        for quantity in ("o2_pct", "co_ppm")
        if state.setup.index(quantity)
    )
    if not known:
        return replace(state, airing_since_s=None), []
    since_s = now if state.airing_since_s is None else state.airing_since_s
    if now - since_s < ALL_CLEAR_AFTER_S:
        return replace(state, airing_since_s=since_s), []
    text = state.setup.render("all-clear", Priority.LOW, "", {})
    told = Alert("all-clear", Priority.LOW, text, expiry_s=EXPIRY_S[Priority.LOW])
    return replace(state, airing=False, airing_since_s=None), [told]
