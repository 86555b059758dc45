"""Say what changed: transitions for the log, texts for the phones, the one sound.

What is told follows from comparing where every alarm stood with where it stands.
"""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.core.alarm_status import AlarmStatus, held
from cabinvigil.daemon.core.all_clear import settled
from cabinvigil.daemon.core.annunciation import choose_sound, escalate
from cabinvigil.daemon.core.mention import what
from cabinvigil.daemon.core.model import (
    AlarmState,
    Command,
    Priority,
    Transition,
    Verdict,
)
from cabinvigil.daemon.core.notification import has_work, of_trial
from cabinvigil.daemon.core.notifier import notify
from cabinvigil.daemon.core.setup import Setup
from cabinvigil.daemon.core.state import State

CALLING = frozenset({"three-pulse", "temporal-four", "temporal-three"})
"""While one of these sounds, time alone may bring something new to say."""

Verdicts = Mapping[str, Verdict | None]


PAST = "better"
"""The case of an alarm that is better, and that nobody has answered."""
SILENT = "silent"
"""The wording of a certified alarm that fell silent, and that nobody has answered."""
BROKEN = "broken"
"""The wording of a verdict that a rule could not give: it stumbled over itself."""


def announce_changes(
    state: State, before: Mapping[str, AlarmStatus], verdicts: Verdicts, now: float
) -> tuple[State, list[Command]]:
    """Say every change since `before`, and choose the sound.

    Args:
        state: where all alarms stand now.
        before: where they stood.
        verdicts: what the rules said of those that moved.
        now: monotonic seconds.
    """
    calls = state.sound.pattern in CALLING or has_work(state.told)
    if state.standings is before and not calls:
        return state, []
    changed: dict[str, AlarmStatus] = {}
    rung: list[str] = []
    commands: list[Command] = []
    grave = {alarm for alarm, old in before.items() if old.wakes}
    for alarm, after in state.standings.items():
        old = before[alarm]
        if after is old:
            continue
        verdict = verdicts.get(alarm)
        has_rung = _has_rung(old, after)
        if has_rung:
            after = _mark_first_up(alarm, old, after, grave)
            rung.append(alarm)
        is_other = after.stands and after.topics[-1:] != old.topics[-1:]
        if has_rung or is_other or _has_stepped_down(old, after, verdict):
            text = _sentence(state.setup, alarm, after, verdict)
            after = changed[alarm] = replace(after, text=text)
            if has_rung and not _speaks_for(after, verdict):
                after = changed[alarm] = _without_number(state.setup, alarm, after)
        elif old.stands and not after.stands and after.calls:
            after = changed[alarm] = _past(state.setup, alarm, after)
        has_moved = after.state is not old.state or after.priority is not old.priority
        if has_rung or is_other or has_moved:
            commands.append(transition(alarm, old.state, after))
    standings = {**state.standings, **changed} if changed else state.standings
    return _notify(replace(state, standings=standings), commands, rung, now)


def renewed(state: State, alarm: str, standing: AlarmStatus, now: float) -> AlarmStatus:
    """Report again with the numbers of now: those of two minutes ago may comfort.

    Or frighten: what is better by now, and unanswered, is told as that.
    """
    for spec in state.setup.alarms:
        if spec.id == alarm:
            verdict = spec.judge(spec.params, state.history, now)
            if verdict is None:
                return _without_number(state.setup, alarm, standing)
            if _is_better(standing, verdict):
                if not standing.stands:
                    return standing  # said as it fell
                base = replace(verdict, priority=standing.priority)
                text = _sentence(state.setup, alarm, standing, base)
                return _past(state.setup, alarm, replace(standing, text=text))
            if _speaks_for(standing, verdict):
                text = _sentence(state.setup, alarm, standing, verdict)
                return replace(standing, text=text)
            return _without_number(state.setup, alarm, standing)
    return standing


def _without_number(setup: Setup, alarm: str, standing: AlarmStatus) -> AlarmStatus:
    """Say of what nobody can tell now no number that once was so."""
    is_air = any(spec.id == alarm and spec.about_air for spec in setup.alarms)
    if not (is_air and standing.stands):
        return standing
    return replace(standing, text=setup.render(alarm, standing.priority, "", {}))


def _is_better(standing: AlarmStatus, verdict: Verdict) -> bool:
    """Return whether what calls for a person is no longer so, the dead-band counted."""
    if not standing.calls:
        return False
    holds = held(standing.priority, verdict)
    return not standing.stands or holds is None or holds < standing.priority


def _past(setup: Setup, alarm: str, standing: AlarmStatus) -> AlarmStatus:
    """Say of what sounds that it is better, without the number that it was.

    Not of a certified alarm: that it fell silent does not prove the air.
    """
    if alarm in setup.at_once:
        return replace(
            standing, text=setup.render(alarm, standing.priority, SILENT, {})
        )
    facts = {"text": what(standing.text)}
    text = setup.render(PAST, standing.priority, "", facts)
    return replace(standing, text=text)


def _notify(
    state: State, commands: list[Command], rung: list[str], now: float
) -> tuple[State, list[Command]]:
    """Report to the phones what they need, and choose the sound."""
    risen = escalate(state.standings, state.setup.escalate_s, now)
    standings: Mapping[str, AlarmStatus] = {**state.standings, **risen}
    is_held = now < state.bump.until_s and state.setup.at_once.isdisjoint(rung)
    if is_held:  # what rises is told to the phones when it is over
        rang = state.bump.rang.union(rung)
        state = replace(state, bump=replace(state.bump, rang=rang))
        return _play(state, standings, commands)
    told, alerts, standings = notify(
        state.setup,
        standings,
        state.told,
        rung,
        {alarm: one.escalation for alarm, one in risen.items()},
        now,
        renew=lambda alarm, one: renewed(state, alarm, one, now),
        is_owed=bool(state.all_clear_owed),
    )
    state = settled(replace(state, told=told, standings=standings), alerts)
    commands += alerts if state.trial is None else of_trial(state.setup, alerts)
    return _play(state, standings, commands)


def _play(
    state: State, standings: Mapping[str, AlarmStatus], commands: list[Command]
) -> tuple[State, list[Command]]:
    """Choose the sound for what stands so."""
    sound = choose_sound(standings, state.setup.sounds)
    if sound != state.sound:
        commands.append(sound)
    return replace(state, sound=sound), commands


def _has_rung(before: AlarmStatus, after: AlarmStatus) -> bool:
    """Return whether an alarm began to sound, or sounded again."""
    if after.state is not AlarmState.UNACKNOWLEDGED:
        return False
    return (
        before.state is not AlarmState.UNACKNOWLEDGED
        or after.priority > before.priority
        or after.rings > before.rings
    )


def _has_stepped_down(
    before: AlarmStatus, after: AlarmStatus, verdict: Verdict | None
) -> bool:
    """Return whether the sentence that stands tells more than is the case by now."""
    return (
        verdict is not None
        and verdict.priority is not None
        and after.stands
        and after.priority < before.priority
    )


def _mark_first_up(
    alarm: str, before: AlarmStatus, after: AlarmStatus, grave: set[str]
) -> AlarmStatus:
    """Mark the alarm that sounded while no other that wakes people stood."""
    first_up = before.first_up if alarm in grave else False
    if alarm not in grave and after.wakes:
        first_up = not grave
        grave.add(alarm)
    return replace(after, first_up=first_up)


def _is_mute(verdict: Verdict | None) -> bool:
    """Return whether a verdict has nothing to say of now."""
    return verdict is None or (verdict.priority is None and not verdict.facts)


def _speaks_for(standing: AlarmStatus, verdict: Verdict | None) -> bool:
    """Return whether a verdict's numbers are for the sentence of what stands.

    The mean of a lesser step has no place in the graver one's.
    """
    if verdict is None or _is_mute(verdict):
        return False
    is_own = (verdict.priority or Priority.FAULT) >= standing.priority
    return is_own or bool(verdict.facts and not verdict.wording)


def _sentence(
    setup: Setup, alarm: str, standing: AlarmStatus, verdict: Verdict | None
) -> str:
    if _is_mute(verdict) and standing.text:
        return standing.text
    if verdict is None:
        verdict = Verdict(standing.priority)
    if verdict.wording == BROKEN:
        alarm = "rule-broken"
    return setup.render(alarm, standing.priority, verdict.wording, verdict.facts)


def transition(alarm: str, was: AlarmState, standing: AlarmStatus) -> Transition:
    """Format the state of an alarm now, and before."""
    return Transition(
        alarm,
        standing.state,
        was,
        standing.priority,
        standing.text,
        standing.since_s,
        standing.first_up,
        standing.evidence,
    )


def announce_all(state: State) -> list[Command]:
    """Return where all alarms stand, and sound: after a restart nobody knows it."""
    commands: list[Command] = [state.sound]
    for alarm, standing in state.standings.items():
        if standing.state is not AlarmState.NORMAL:
            commands.append(transition(alarm, standing.state, standing))
    return commands
