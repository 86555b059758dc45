"""What became of an act, in one sentence: above all, that nothing was done.  Pure.

What an act does is the core's alone to decide; here it is read from where all alarms
stood before it and stand after it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.daemon.core import bump, trial
from cabinvigil.daemon.core.alarm import ASIDE
from cabinvigil.daemon.core.alarm_status import ANSWERABLE, HEARD_S, AlarmStatus
from cabinvigil.daemon.core.answers import ANSWERS_BY, BUTTON
from cabinvigil.daemon.core.engine import TEST_EVERY_S
from cabinvigil.daemon.core.model import Act, ActKind, AlarmState, Priority
from cabinvigil.daemon.core.state import State
from cabinvigil.daemon.text.durations import seconds

NOTHING = "Nothing was done: "

_PUT_ASIDE = {
    ActKind.SHELVE: AlarmState.SHELVED,
    ActKind.OUT_OF_SERVICE: AlarmState.OUT_OF_SERVICE,
}
_TAKE_BACK = {
    ActKind.UNSHELVE: (AlarmState.SHELVED, "shelved"),
    ActKind.RETURN_TO_SERVICE: (AlarmState.OUT_OF_SERVICE, "out of service"),
}


@dataclass(frozen=True, slots=True)
class ActOutcome:
    """What became of an act."""

    is_done: bool
    text: str
    """One or two sentences for whoever asked."""
    changed: int = 0
    """Alarms that changed by it."""

    def body(self) -> dict[str, Any]:
        """Return the answer's keys."""
        return {"ok": self.is_done, "changed": self.changed, "text": self.text}


def outcome(before: State, after: State, act: Act) -> ActOutcome:
    """Return what an act did.

    Args:
        before: what was known before its step.
        after: what is known after it.
        act: what was asked.
    """
    if act.kind is ActKind.MARK:
        return ActOutcome(True, "Marked.")
    if act.kind is ActKind.TEST:
        return _of_test(before, after)
    if act.kind in (ActKind.BUMP_TEST, ActKind.BUMP_END):
        return _of_bump(before, after, act)
    if act.kind in (ActKind.TRIAL, ActKind.TRIAL_END):
        return _of_trial(before, after, act)
    if act.alarm and act.alarm not in before.standings:
        return _nothing(f"there is no alarm '{act.alarm}' here.")
    if act.kind in ANSWERS_BY:
        return _of_answer(before, after, act)
    if act.kind in _PUT_ASIDE:
        return _of_putting_aside(before, after, act)
    return _of_taking_back(before, after, act)


def _of_bump(before: State, after: State, act: Act) -> ActOutcome:
    if act.kind is ActKind.BUMP_END:
        return ActOutcome(True, "The bump test is over.")
    if why := bump.why_not(before, act, after.now):
        return _nothing(why)
    for_s = seconds(bump.BUMP_S)
    return ActOutcome(True, f"The bump test runs: no message is sent for {for_s}.")


def _of_trial(before: State, after: State, act: Act) -> ActOutcome:
    if act.kind is ActKind.TRIAL_END:
        if before.trial is None:
            return _nothing("no trial is open.")
        return ActOutcome(True, f"The trial '{before.trial.text}' is over.")
    if why := trial.why_not(before, act, after.now):
        return _nothing(why)
    for_s = seconds(act.for_s or trial.USUAL_S)
    until = f", or until {act.alarm}" if act.alarm else ""
    return ActOutcome(True, f"The trial '{act.text}' runs for {for_s}{until}.")


def _nothing(why: str) -> ActOutcome:
    return ActOutcome(False, NOTHING + why)


def _of_test(before: State, after: State) -> ActOutcome:
    if after.tested_s > before.tested_s:
        return ActOutcome(True, "The test sounds.")
    left_s = before.tested_s + TEST_EVERY_S - after.history.now
    if left_s > 0.0:
        return _nothing(
            f"the sounder is tested once in {seconds(TEST_EVERY_S)}; wait "
            f"{seconds(left_s)}."
        )
    return _nothing("an alarm is active, and the test could be mistaken for it.")


# --- answers ----------------------------------------------------------------------


def _of_answer(before: State, after: State, act: Act) -> ActOutcome:
    waiting = {
        alarm: standing
        for alarm, standing in before.standings.items()
        if standing.state in ANSWERABLE and act.alarm in ("", alarm)
    }
    answered = [
        alarm for alarm in waiting if after.standings[alarm].state not in ANSWERABLE
    ]
    if not answered:
        return _nothing(_why_unanswered(after, waiting, act))
    done = _quiet_words(after, answered, act)
    return ActOutcome(
        True, _beside_what_sounds(done, after, waiting, act), len(answered)
    )


def _beside_what_sounds(
    done: str, after: State, waiting: Mapping[str, AlarmStatus], act: Act
) -> str:
    """Put what an answer did behind what still wakes people, or before a chirp."""
    alarm = after.sound.alarm
    if after.sound.pattern == "quiet":
        return done
    if after.standings[alarm].priority < Priority.MEDIUM:
        return f"{done} {alarm} still sounds."
    left = {alarm: waiting[alarm]} if alarm in waiting else {}
    why = f": {_why_unanswered(after, left, act)}" if left else "."
    return f"{alarm} still sounds{why} Of the others: {done[0].lower()}{done[1:]}"


def _quiet_words(after: State, answered: Iterable[str], act: Act) -> str:
    ends_s = [
        standing.quiet_until_s
        for standing in map(after.standings.__getitem__, answered)
        if standing.state is AlarmState.ACKNOWLEDGED
    ]
    if not ends_s:
        return "Acknowledged; it was over already."
    text = f"Quiet for {seconds(min(ends_s) - after.history.now)}"
    if act.is_outside:
        return f"{text}; a second acknowledgement from a phone does not count."
    return f"{text}."


def _why_unanswered(after: State, waiting: Mapping[str, AlarmStatus], act: Act) -> str:
    if not waiting and act.alarm:
        return f"{act.alarm} does not wait to be acknowledged."
    if not waiting:
        return "no alarm waits to be acknowledged."
    # Of several, what holds for the gravest.
    worst = max(waiting.values(), key=lambda one: (one.priority, -one.unanswered_s))
    if worst.rang_s > after.history.now - act.age_s - HEARD_S:
        return "it began to sound only then; acknowledge it again."
    if act.is_outside and worst.answered_outside:
        return (
            "a phone has acknowledged once, and a second acknowledgement from a "
            "phone does not count. Press the button in the cabin."
        )
    if not act.is_outside and BUTTON in after.history.sources:
        return (
            "the button, or a program, is pressing by itself: that does not quiet "
            "a danger."
        )
    return "so grave a danger cannot be quieted."


# --- aside, and back ---------------------------------------------------------------


def _of_putting_aside(before: State, after: State, act: Act) -> ActOutcome:
    aside = _PUT_ASIDE[act.kind]
    was, now = before.standings[act.alarm], after.standings[act.alarm]
    if now.state is aside and was.state is not aside:
        if aside is AlarmState.OUT_OF_SERVICE:
            return ActOutcome(True, f"{act.alarm} is out of service until returned.", 1)
        left_s = now.aside_until_s - after.history.now
        text = f"{act.alarm} is shelved for {seconds(left_s)}."
        return ActOutcome(True, text, 1)
    if was.state in ASIDE:
        return _nothing(f"{act.alarm} is set aside already ({was.state.value}).")
    if aside is AlarmState.OUT_OF_SERVICE:
        return _nothing(f"{act.alarm} wakes people now, or must never be set aside.")
    return _nothing(_why_not_shelved(before, act))


def _why_not_shelved(before: State, act: Act) -> str:
    spec = next(one for one in before.setup.alarms if one.id == act.alarm)
    if spec.gravest >= Priority.MEDIUM:
        return (
            f"{act.alarm} can wake people, and only faults and CAUTION alarms can be "
            "shelved; acknowledge it when it sounds."
        )
    return f"the limits do not allow anyone to shelve {act.alarm}."


def _of_taking_back(before: State, after: State, act: Act) -> ActOutcome:
    state, words = _TAKE_BACK[act.kind]
    if before.standings[act.alarm].state is not state:
        return _nothing(f"{act.alarm} is not {words}.")
    now = after.standings[act.alarm].state
    return ActOutcome(True, f"{act.alarm} is back; it is {now.value}.", 1)
