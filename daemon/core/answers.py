"""Who answered, and how often: a button that chatters, a phone that is far away."""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.model import (
    EMPTY,
    Act,
    ActKind,
    AlarmState,
    Priority,
    SourceFault,
)
from cabinvigil.daemon.core.notification import ANSWERED
from cabinvigil.daemon.core.state import State

ANSWERS = 6
ANSWERS_S = 60.0
"""More than six answers a minute are no person's: a button that chatters, or a program
that answers for one (our choice)."""
TOLD_FOR_S = 600.0
"""Who ended what was over is news for so long (our choice: the phones' room for three
texts comes back in that time)."""
ACKNOWLEDGED = AlarmState.ACKNOWLEDGED
INSIDE = "in the cabin"
"""Who acknowledged there; a term of the message files."""
BUTTON = "button"
"""The source of that fault."""

ANSWERS_BY = frozenset({ActKind.ACKNOWLEDGE, ActKind.RESET})
"""The acts that answer an alarm."""


def answers_from_cabin(event: Act) -> bool:
    """Return whether it is an answer by somebody in the cabin, or by its button."""
    return event.kind in ANSWERS_BY and not event.is_outside


def count_answer(state: State, event: Act, now: float) -> State:
    """Find a button that chatters: answers in such numbers are nobody's.

    A phone's do not count: it answers a stand once, and must not take the button from
    whoever is in the cabin.
    """
    if not answers_from_cabin(event):
        return state
    recent = [at for at in state.answers_s if now - at < ANSWERS_S]
    state = replace(state, answers_s=(*recent[-ANSWERS:], now))
    if len(recent) < ANSWERS or BUTTON in state.history.sources:
        return state
    text = "The button is pressed without a hand. Check its wire."
    fault = SourceFault(BUTTON, "chattering", text)
    return replace(state, history=state.history.with_fault(fault))


def settle_button(state: State, now: float) -> State:
    """End the fault of a button that chattered, once it has been quiet."""
    fault = state.history.sources.get(BUTTON)
    if fault is None or fault.kind != "chattering":
        return state
    if state.answers_s and now - state.answers_s[-1] < ANSWERS_S:
        return state
    return replace(state, history=state.history.without_fault(BUTTON), answers_s=())


def without_answers(
    state: State,
    before: Mapping[str, AlarmStatus],
    after: dict[str, AlarmStatus],
    event: Act,
    now: float,
) -> tuple[State, dict[str, AlarmStatus]]:
    """Take back what a chattering button answered of what wakes people.

    That it chatters is found out at its seventh press: what the six before it quieted
    rings again, since nobody gave those answers either.

    Returns:
        The state, which notes what was answered of late; the state of every alarm.
    """
    if not answers_from_cabin(event):
        return state, after
    recent = {
        alarm: at for alarm, at in state.quieted_s.items() if now - at < ANSWERS_S
    }
    if BUTTON not in state.history.sources:
        quieted = {
            alarm: now
            for alarm, one in after.items()
            if one.state is ACKNOWLEDGED and before[alarm].state is not ACKNOWLEDGED
        }
        return replace(state, quieted_s={**recent, **quieted}), after
    standings = {
        alarm: before[alarm] if before[alarm].priority >= Priority.MEDIUM else one
        for alarm, one in after.items()
    }
    for alarm in recent.keys() & standings.keys():  # a reload may have taken one away
        one = standings[alarm]
        is_gone = one.falling_s is not None  # what is back rings by itself
        if one.state is ACKNOWLEDGED and one.wakes and not is_gone:
            standings[alarm] = replace(one, quiet_until_s=now, is_answered=False)
    return replace(state, quieted_s=EMPTY), standings


def tell_who(
    state: State,
    before: Mapping[str, AlarmStatus],
    after: Mapping[str, AlarmStatus],
    event: Act,
    now: float,
) -> State:
    """Report to the phones who has acknowledged, where that is news to somebody.

    A phone's answer is news to the other phone and to whoever lies in the cabin; one
    from the cabin to whoever was called because nobody answered.
    """
    is_news = event.is_outside or state.told.is_second
    if event.kind not in ANSWERS_BY or not is_news:
        return state
    answered = [
        spec
        for spec in state.setup.alarms
        if after[spec.id] is not before[spec.id] and before[spec.id].calls
    ]
    if not answered:
        return state
    who = event.text or event.by if event.is_outside else INSIDE
    facts: dict[str, float | str] = {"text": who}
    # It is quiet until the first of all that are answered sounds again.
    quiet_s = [
        one.quiet_until_s - now
        for one in after.values()
        if one.state is ACKNOWLEDGED and one.priority >= Priority.MEDIUM
    ]
    if quiet_s:  # an answer to what is over ends it, and buys no quiet
        facts["seconds"] = min(quiet_s)
    elif not event.is_outside:
        return state  # that it is over is told, and what to do then
    told = replace(state.told, answered_until_s=now + min(quiet_s, default=TOLD_FOR_S))
    return replace(state, told=told).with_line(ANSWERED, facts)
