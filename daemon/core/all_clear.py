"""When it is safe to go back in: the all-clear after a grave alarm about the air.

It is owed to whoever was sent out, and told once, after the air has been known and
clear for a while since the last answer.  What is not known, or stands aside, is never
clear.  Where three texts went just before, it waits, and is withdrawn if the air gets
worse meanwhile.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from cabinvigil.daemon.core.history import o2_facts
from cabinvigil.daemon.core.model import Alert, Priority
from cabinvigil.daemon.core.notification import ALL_CLEAR, UNSEEN_KINDS
from cabinvigil.daemon.core.setup import AlarmSpec, quantity_of
from cabinvigil.daemon.core.state import State
from cabinvigil.drivers.kit.quantity import OUTSIDE_PLACES, VITAL

ALL_CLEAR_AFTER_S = 300.0
"""Five quiet minutes of known air before 'safe to go back in': two lags of the
slowest gas sensor (t90 of CO2 about 140 s, sensors.md 1)."""
GASES = frozenset({"o2_pct", "o2_hpa", "co_ppm", "co2_ppm", "gas_lel_pct"})
"""What is breathed: no all-clear while an alarm about one of them stands at all."""
CONTACT_KIND = "contact"
"""After it no all-clear is told either; but an alarm that was tested, fell silent and
was acknowledged keeps nobody out for good."""


def _weight(state: State, spec: AlarmSpec) -> Priority | None:
    """Return what an alarm weighs now, aside or not; None: its condition is absent."""
    standing = state.standings[spec.id]
    return standing.priority if standing.stands else standing.priority_while_shelved


def is_about_gas(spec: AlarmSpec) -> bool:
    """Return whether an alarm is about something that is breathed."""
    return quantity_of(spec) in GASES


def _is_clear(state: State, rung: list[AlarmSpec]) -> bool:
    """Return whether no gas alarm is active, nor what sounded, and none calls.

    A part lags, and who answers may have opened the door for a moment alone: so the
    minutes count from the last answer.
    """
    for spec in state.setup.alarms:
        if state.standings[spec.id].calls:
            return False
        matters = spec in rung or (spec.about_air and is_about_gas(spec))
        if matters and _weight(state, spec) is not None:
            return False
        if matters and state.standings[spec.id].rising_s is not None:
            return False  # past its limit, if not yet for its delay
    return True


def _is_known(state: State, rung: list[AlarmSpec]) -> bool:
    """Return whether a trusted value of all that matters is fresh, at every place.

    Where a vital quantity is measured at all, nothing is clear without it.
    """
    if any(spec.kind in UNSEEN_KINDS for spec in rung):
        return False
    layout, history = state.setup.layout, state.history
    wanted = {quantity_of(spec) for spec in rung} - {""}
    if any(not layout.index(quantity) for quantity in wanted):
        return False  # the part that measured it was taken away
    for (quantity, place), keys in layout.places.items():
        if quantity not in {*wanted, *VITAL}:
            continue
        if place is None or place in OUTSIDE_PLACES:
            continue
        if not any(history.is_trusted(key) for key in keys):
            return False
    return True


@dataclass(frozen=True, slots=True)
class AllClearForecast:
    """When whoever was sent out may go back in, as far as that can be told."""

    all_clear_in_s: float | None
    """Where the air stays as it is; None: it is not good yet, or not known."""
    can_be_told: bool
    """Whether an all-clear can come at all."""
    sent_out: bool
    """Whether a danger sent people outside; a lesser alarm had them open up."""


def outlook(state: State, now: float) -> AllClearForecast | None:
    """Return when the air is good again; None where no all-clear is owed."""
    if not state.all_clear_owed:
        return None
    rung = [spec for spec in state.setup.alarms if spec.id in state.all_clear_owed]
    can_be_told = not any(spec.kind in UNSEEN_KINDS for spec in rung)
    sent_out = not state.sent_out.isdisjoint(state.all_clear_owed)
    if state.airing_since_s is None:
        return AllClearForecast(None, can_be_told, sent_out)
    left_s = ALL_CLEAR_AFTER_S - (now - state.airing_since_s)
    return AllClearForecast(max(0.0, left_s), can_be_told, sent_out)


def all_clear(state: State, now: float) -> State:
    """Note grave alarms about the air, and tell when all of them have gone for long."""
    about_air = [spec for spec in state.setup.alarms if spec.about_air]
    weights = {
        spec.id: weight
        for spec in about_air
        if (weight := _weight(state, spec)) is not None
        and weight >= Priority.MEDIUM
        and spec.id not in state.bump.answered
    }
    if weights:
        state = _withdrawn(state)
        owed = state.all_clear_owed | weights.keys()
        dangers = {one for one, weight in weights.items() if weight is Priority.HIGH}
        sent_out = state.sent_out & state.all_clear_owed | dangers
        known = state.all_clear_owed, state.sent_out, state.airing_since_s
        if known == (owed, sent_out, None):
            return state
        return replace(
            state, all_clear_owed=owed, sent_out=sent_out, airing_since_s=None
        )
    if not state.all_clear_owed:
        return state
    rung = [spec for spec in about_air if spec.id in state.all_clear_owed]
    ours = [spec for spec in rung if spec.kind != CONTACT_KIND]
    if not _is_clear(state, rung) or not _is_known(state, ours):
        state = _withdrawn(state)
        if state.airing_since_s is None:
            return state
        return replace(state, airing_since_s=None)
    since_s = now if state.airing_since_s is None else state.airing_since_s
    if now - since_s < ALL_CLEAR_AFTER_S:
        if state.airing_since_s is not None:
            return state
        return replace(state, airing_since_s=since_s)
    if len(ours) < len(rung):
        # What a certified alarm smelt nobody here can call good.  It has been silent,
        # acknowledged and our own air good for as long: nothing keeps people out now.
        return replace(state, all_clear_owed=frozenset(), airing_since_s=None)
    if any(line.alarm == ALL_CLEAR for line in state.told.lines):
        return state
    return state.with_line(ALL_CLEAR, o2_facts(state.history))


def _withdrawn(state: State) -> State:
    """Take back an all-clear that waits to be told: it is true no more."""
    lines = tuple(line for line in state.told.lines if line.alarm != ALL_CLEAR)
    if len(lines) == len(state.told.lines):
        return state
    return replace(state, told=replace(state.told, lines=lines))


def settled(state: State, alerts: Iterable[Alert]) -> State:
    """Owe no all-clear any more once it is among the texts that go out."""
    if all(alert.alarm != ALL_CLEAR for alert in alerts):
        return state
    return replace(state, all_clear_owed=frozenset(), airing_since_s=None)
