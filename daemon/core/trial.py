"""A trial: the heater burns with nobody inside, to learn what each opening is worth.

All is measured, judged, logged and sounded as ever: whoever opens the door must hear
it.  But the second phone is told nothing, and each text to the first says that it is a
trial.  It ends by the button, by its time, by the alarm that was to end it, by a
command or with the monitor; from then on what sounds is told as if it had begun to
sound only now.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.alarm import ASIDE
from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.all_clear import is_about_gas
from cabinvigil.daemon.core.answers import answers_from_cabin
from cabinvigil.daemon.core.changes import transition
from cabinvigil.daemon.core.model import Act, ActKind, Command, Record
from cabinvigil.daemon.core.state import State, Trial
from cabinvigil.daemon.text.durations import seconds
from cabinvigil.drivers.kit.quantity import VITAL

USUAL_S = 3 * 3600.0
"""Where nobody says how long (our choice: a cabin settles within a few air changes)."""
LONGEST_S = 12 * 3600.0
"""What is forgotten is over by the night after (our choice)."""
OVER = "trial-over"
"""The case of the line that tells the phone of an end that nobody asked for."""

COMMAND, BUTTON, TIME, LIMIT, RESTART = "command", "button", "time", "limit", "restart"
"""Why one ended."""


def why_not(state: State, event: Act, now: float) -> str:
    """Return why no trial may begin now; '' where it may.

    Args:
        state: what is known.
        event: who asks; its `alarm` is the one that is to end the trial.
        now: monotonic seconds.
    """
    if event.is_outside:
        return "only somebody at the cabin can begin it, with `cabinvigil trial begin`."
    if state.trial is not None:
        return f"the trial '{state.trial.text}' is open. End it first."
    if now < state.bump.until_s:
        return "a test of the sensors runs."
    if event.for_s > LONGEST_S:
        return f"a trial lasts {seconds(LONGEST_S)} at most."
    return _why_not_until(state, event.alarm) or _why_not_calm(state)


def _why_not_until(state: State, alarm: str) -> str:
    if not alarm:
        return ""
    if alarm not in state.standings:
        return f"there is no alarm '{alarm}' here."
    if state.standings[alarm].state in ASIDE:
        return f"{alarm} is set aside, and could not end it."
    if state.standings[alarm].stands:
        return f"{alarm} is active already, and would end it at once."
    return ""


def _why_not_calm(state: State) -> str:
    """Return why the air is not calm, or not known to be; '' where it is."""
    for spec in state.setup.alarms:
        one = state.standings[spec.id]
        if one.wakes or (spec.about_air and is_about_gas(spec) and one.stands):
            return f"{spec.id} is active. Air the cabin and acknowledge it first."
    if state.all_clear_owed:
        return "the all-clear after an alarm has not come yet."
    for quantity in VITAL:
        if state.setup.layout.index(quantity) and not state.history.is_watched(
            quantity
        ):
            return f"{quantity} is not measured now, so the air is unknown."
    return ""


def begin(state: State, event: Act, now: float) -> tuple[State, list[Command]]:
    """Begin one, where nothing is against it."""
    if why_not(state, event, now):
        return state, []
    for_s = event.for_s or USUAL_S
    trial = Trial(event.text, now + for_s, event.alarm, TIME, state.history.dose)
    fields: dict[str, Any] = {
        "state": "begun",
        "text": event.text,
        "for_s": for_s,
        "until": event.alarm,
        "by": event.by,
    }
    return replace(state, trial=trial), [Record("trial", fields, urgent=True)]


def end_asked(state: State, event: Act, now: float) -> tuple[State, list[Command]]:
    """End it where a person asks for it, or answers an alarm at the cabin.

    Whoever presses the button stands in the door.
    """
    if event.kind is ActKind.TRIAL_END:
        return end(state, now, COMMAND)
    if answers_from_cabin(event):
        return end(state, now, BUTTON)
    return state, []


def settle(
    state: State, before: Mapping[str, AlarmStatus], now: float
) -> tuple[State, list[Command]]:
    """End one whose time is over, or whose alarm is active.

    Args:
        state: where all alarms stand now.
        before: where they stood; what has moved since is told by itself.
        now: monotonic seconds.
    """
    trial = state.trial
    if trial is None:
        return state, []
    if trial.alarm in state.standings and state.standings[trial.alarm].stands:
        return end(state, now, LIMIT, before)
    return (state, []) if now < trial.until_s else end(state, now, trial.at_its_time)


def end(
    state: State,
    now: float,
    why: str,
    before: Mapping[str, AlarmStatus] | None = None,
) -> tuple[State, list[Command]]:
    """End it, if one is open: what sounds now is an alarm that begins now.

    Nobody breathed what was measured in it: the dose is that of its beginning.
    """
    trial = state.trial
    if trial is None:
        return state, []
    was = state.standings
    standings = {alarm: _as_new(one, now) for alarm, one in was.items()}
    sounding = frozenset(alarm for alarm, one in standings.items() if one.sounds)
    told = replace(
        state.told,
        texts_s=(),
        second_texts_s=(),
        told={k: v for k, v in state.told.told.items() if k not in sounding},
        missed=(),  # of the empty cabin: what goes on is told as new
        dangers={},
        waiting=state.told.waiting | sounding,
        is_second=False,
    )
    fields = {"state": "ended", "text": trial.text, "why": why}
    said: list[Command] = [Record("trial", fields, urgent=True)]
    # Whoever reads the log leaves out what rang in the trial: this did not end with it.
    said += [
        transition(alarm, one.state, one)
        for alarm, one in sorted(standings.items())
        if one.stands and (before is None or before.get(alarm) is was[alarm])
    ]
    history = replace(state.history, dose=trial.dose or state.history.dose)
    state = replace(state, standings=standings, told=told, history=history, trial=None)
    if why in (COMMAND, BUTTON):
        return state, said
    return state.with_line(OVER, {"text": trial.text}), said


def _as_new(one: AlarmStatus, now: float) -> AlarmStatus:
    """Return an alarm as if it had begun only now, as far as people are told of it."""
    if one.grave_s is not None:
        one = replace(one, grave_s=now)
    if not one.sounds:
        return one
    return replace(one, rang_s=now, unanswered_s=now, escalation=0)


def kept(plain: object, now: float) -> Trial | None:
    """Return a trial that a restart found open: it ends with the first step.

    Args:
        plain: what was kept of it, or anything.
        now: monotonic seconds.
    """
    return Trial(plain, now, at_its_time=RESTART) if isinstance(plain, str) else None
