"""Who answered, and how often: a button that chatters, a phone that is far away."""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.model import Act, ActKind, Alert, Priority, SourceFault
from cabinvigil.daemon.core.notification import EXPIRY_S
from cabinvigil.daemon.core.state import State

ANSWERS = 6
ANSWERS_S = 60.0
"""More than six answers a minute are no person's: a button that chatters, or a program
that answers for one (own choice)."""
BUTTON = "button"
"""The source of that fault."""

ANSWERS_BY = frozenset({ActKind.ACKNOWLEDGE, ActKind.RESET})
"""The acts that answer an alarm."""


def without(sources: Mapping[str, SourceFault], name: str) -> dict[str, SourceFault]:
    """Return the faults without that of one source."""
    return {source: fault for source, fault in sources.items() if source != name}


def count_answer(state: State, event: Act, now: float) -> State:
    """Find a button that chatters: answers in such numbers are nobody's.

    A phone's do not count: it answers a stand once, and must not take the button from
    whoever is in the cabin.
    """
    if event.kind not in ANSWERS_BY or event.is_outside:
        return state
    recent = [at for at in state.answers_s if now - at < ANSWERS_S]
    state = replace(state, answers_s=(*recent[-ANSWERS:], now))
    if len(recent) < ANSWERS or BUTTON in state.history.sources:
        return state
    text = "The button is pressed without a hand. Check its wire."
    fault = SourceFault(BUTTON, "chattering", text)
    sources = {**state.history.sources, BUTTON: fault}
    return replace(state, history=replace(state.history, sources=sources))


def settle_button(state: State, now: float) -> State:
    """End the fault of a button that chattered, once it has been quiet."""
    fault = state.history.sources.get(BUTTON)
    if fault is None or fault.kind != "chattering":
        return state
    if state.answers_s and now - state.answers_s[-1] < ANSWERS_S:
        return state
    sources = without(state.history.sources, BUTTON)
    return replace(state, history=replace(state.history, sources=sources), answers_s=())


def without_answers(
    state: State,
    before: Mapping[str, AlarmStatus],
    after: dict[str, AlarmStatus],
    event: Act,
) -> dict[str, AlarmStatus]:
    """Take back the answers to dangers that a chattering button gave."""
    if event.kind not in ANSWERS_BY or event.is_outside:
        return after
    if BUTTON not in state.history.sources:
        return after
    return {
        alarm: before[alarm] if before[alarm].priority is Priority.HIGH else one
        for alarm, one in after.items()
    }


def tell_who(
    state: State,
    before: Mapping[str, AlarmStatus],
    after: Mapping[str, AlarmStatus],
    event: Act,
) -> State:
    """Tell both phones that one of them has answered what wakes people."""
    if not event.is_outside or event.kind not in ANSWERS_BY:
        return state
    answered = [
        spec
        for spec in state.setup.alarms
        if after[spec.id] is not before[spec.id]
        and before[spec.id].sounds
        and before[spec.id].priority >= Priority.MEDIUM
    ]
    if not answered:
        return state
    facts: dict[str, float | str] = {
        "text": event.text or event.by,
        "seconds": min(spec.ack_s for spec in answered),
    }
    text = state.setup.render("answered", Priority.LOW, "", facts)
    line = Alert("answered", Priority.LOW, text, expiry_s=EXPIRY_S[Priority.LOW])
    told = replace(state.told, lines=(*state.told.lines, line))
    return replace(state, told=told)
