"""When it is safe to go back in: the all-clear after a grave alarm about the air.

It is owed to whoever was sent out, and told once, after the air has been known and
clear for a while.  What is not known, or stands aside, is never clear.
"""

from dataclasses import dataclass, replace

from cabinvigil.daemon.core.annunciation import EXPIRY_S
from cabinvigil.daemon.core.history import o2_facts
from cabinvigil.daemon.core.model import Alert, Command, Priority
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.core.state import State
from cabinvigil.drivers.kit.quantity import OUTSIDE_PLACES, VITAL

ALL_CLEAR_AFTER_S = 300.0
"""Five quiet minutes of known air before 'safe to go back in': two lags of the
slowest gas sensor (t90 of CO2 about 140 s, sensors.md 1)."""
BLOOD_KINDS = frozenset({"dose"})
"""Rules on what a sleeper carries: it goes down for hours after the air is clear, so
their `low` does not keep anyone out."""

UNSEEN_KINDS = frozenset({"displaced"})
"""Rules on a gas that no part measures: that it has gone cannot be told, so after one
of them no all-clear is given in this run: a person airs out and looks."""


def _weight(state: State, spec: AlarmSpec) -> Priority | None:
    """Return what an alarm weighs now, aside or not; None: its condition is absent."""
    standing = state.standings[spec.id]
    return standing.priority if standing.stands else standing.priority_while_shelved


def _is_clear(state: State, spec: AlarmSpec) -> bool:
    """Say whether an alarm that rang has gone wholly: a lower step is not enough."""
    weight = _weight(state, spec)
    return weight is None or (spec.kind in BLOOD_KINDS and weight <= Priority.LOW)


def _is_known(state: State, rang: list[AlarmSpec]) -> bool:
    """Say whether a trusted value of all that matters is fresh, at every place.

    Where a vital quantity is measured at all, nothing is clear without it.
    """
    if any(spec.kind in UNSEEN_KINDS for spec in rang):
        return False
    wanted = {getattr(spec.params, "quantity", "") for spec in rang} | {*VITAL}
    history = state.history
    for (quantity, place), keys in state.setup.layout.places.items():
        if quantity not in wanted or place is None or place in OUTSIDE_PLACES:
            continue
        fresh = [history.fresh(key) for key in keys]
        if not any(one is not None and not one.doubtful for one in fresh):
            return False
    return True


@dataclass(frozen=True, slots=True)
class AllClearForecast:
    """When whoever was sent out may go back in, as far as that can be told."""

    all_clear_in_s: float | None
    """Where the air stays as it is; None: it is not good yet, or not known."""
    can_be_told: bool
    """Whether an all-clear can come at all."""


def outlook(state: State, now: float) -> AllClearForecast | None:
    """Say when it is safe to go back in; None where nobody was sent out."""
    if not state.all_clear_owed:
        return None
    rang = [spec for spec in state.setup.alarms if spec.id in state.all_clear_owed]
    can_be_told = not any(spec.kind in UNSEEN_KINDS for spec in rang)
    if state.airing_since_s is None:
        return AllClearForecast(None, can_be_told)
    left_s = ALL_CLEAR_AFTER_S - (now - state.airing_since_s)
    return AllClearForecast(max(0.0, left_s), can_be_told)


def all_clear(state: State, now: float) -> tuple[State, list[Command]]:
    """Note grave alarms about the air, and tell when all of them have gone for long."""
    about_air = [spec for spec in state.setup.alarms if spec.about_air]
    grave = frozenset(
        spec.id
        for spec in about_air
        if (weight := _weight(state, spec)) is not None and weight >= Priority.MEDIUM
    )
    if grave:
        if grave <= state.all_clear_owed and state.airing_since_s is None:
            return state, []
        return replace(
            state, all_clear_owed=state.all_clear_owed | grave, airing_since_s=None
        ), []
    if not state.all_clear_owed:
        return state, []
    rang = [spec for spec in about_air if spec.id in state.all_clear_owed]
    if not all(_is_clear(state, spec) for spec in rang) or not _is_known(state, rang):
        if state.airing_since_s is None:
            return state, []
        return replace(state, airing_since_s=None), []
    since_s = now if state.airing_since_s is None else state.airing_since_s
    if now - since_s < ALL_CLEAR_AFTER_S:
        if state.airing_since_s is not None:
            return state, []
        return replace(state, airing_since_s=since_s), []
    facts = o2_facts(state.history)
    text = state.setup.render("all-clear", Priority.LOW, "", facts)
    told = Alert("all-clear", Priority.LOW, text, expiry_s=EXPIRY_S[Priority.LOW])
    return replace(state, all_clear_owed=frozenset(), airing_since_s=None), [told]
