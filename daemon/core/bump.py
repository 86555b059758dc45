"""The bump test: gas or breath is held to the parts on purpose, by somebody awake.

It sounds as always, since that is half of the test.  But no phone is told, for five
minutes at most: what still sounds then is told.  The trend takes nothing from it, and
begins again once the parts have come back: that is no fall or rise of the air.
"""

from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.changes import transition
from cabinvigil.daemon.core.model import Act, AlarmState, Command, Record
from cabinvigil.daemon.core.state import BumpTests, State

BUMP_S = 300.0
"""A bag of breath takes half a minute, and the slowest part four to come back from it
(our choice, from the lags of sensors.md 1)."""
BACK_S = 300.0
"""After it the slowest part still shows some of it: five of its lags (sensors.md 1)."""
BY = ("breath", "gas")
"""What is held to the parts, where whoever begins it says so."""
AT_MOST, AT_MOST_IN_S = 3, 3600.0
"""A bag slips once or twice; more in an hour would keep the phones from a danger for
long (our choice)."""


def why_not(state: State, event: Act, now: float) -> str:
    """Return why no bump test may begin now; '' where it may.

    Args:
        state: what is known.
        event: who asks.
        now: monotonic seconds.
    """
    if event.is_outside:
        return "only somebody in the cabin can begin it."
    if now < state.bump.until_s:
        return "another test of the sensors runs."
    if any(one.wakes for one in state.standings.values()):
        return "an alarm that wakes people is open."
    if state.all_clear_owed:
        return "the all-clear after an alarm has not come yet."
    recent = [at for at in state.bump.began_s if now - at < AT_MOST_IN_S]
    if len(recent) >= AT_MOST:
        return f"it has been done {AT_MOST} times in this hour."
    return ""


def begin(state: State, event: Act, now: float) -> tuple[State, list[Command]]:
    """Begin one, where nothing is against it."""
    if why_not(state, event, now):
        return state, []
    began_s = (*state.bump.began_s[1 - AT_MOST :], now)
    until_s = now + BUMP_S
    bump = BumpTests(until_s, began_s, trend_from_s=until_s + BACK_S)
    state = replace(state, bump=bump)
    fields: dict[str, Any] = {"state": "begun", "for_s": BUMP_S}
    if event.text in BY:
        fields["by"] = event.text
    return state, [Record("bump-test", fields, urgent=True)]


def end(state: State, now: float) -> tuple[State, list[Command]]:
    """End it, if one has begun: what is over was a test, what sounds is an alarm.

    What was answered in it and still stands is neither told nor owed an all-clear.
    """
    bump = state.bump
    if bump.until_s == float("-inf"):
        return state, []
    rang = bump.rang & state.standings.keys()
    sounding = {alarm for alarm in rang if state.standings[alarm].sounds}
    answered = {alarm for alarm in rang if state.standings[alarm].stands} - sounding
    told = replace(state.told, waiting=state.told.waiting | sounding)
    owed = state.all_clear_owed - (bump.rang - sounding)
    said: list[Command] = [Record("bump-test", {"state": "ended"}, urgent=True)]
    # Whoever reads the log leaves out what rang in the test: this did not end with it.
    said += [
        transition(alarm, state.standings[alarm].state, state.standings[alarm])
        for alarm in sorted(sounding)
    ]
    trend = state.setup.trend
    state = replace(
        state,
        trend_state=None if trend is None else trend.start(),
        history=replace(state.history, trend=None),
        bump=BumpTests(
            began_s=bump.began_s,
            answered=frozenset(answered),
            trend_from_s=now + BACK_S,
        ),
        told=told,
        all_clear_owed=owed,
        airing_since_s=state.airing_since_s if owed else None,
    )
    return state, said


def settle(state: State, now: float) -> tuple[State, list[Command]]:
    """End one that has run for as long as it may, and forget what came of the last."""
    if state.bump.answered:
        answered = frozenset(
            alarm
            for alarm in state.bump.answered & state.standings.keys()
            if state.standings[alarm].state is AlarmState.ACKNOWLEDGED
        )
        if answered != state.bump.answered:
            state = replace(state, bump=replace(state.bump, answered=answered))
    rings = (state.standings[alarm].stands for alarm in state.setup.at_once)
    goes_on = now < state.bump.until_s and not any(rings)
    return (state, []) if goes_on else end(state, now)
