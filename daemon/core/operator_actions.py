"""What a person may do to alarms: answer, reset, put aside, take back."""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.core import shelving
from cabinvigil.daemon.core.alarm import Trigger, follow
from cabinvigil.daemon.core.alarm_status import (
    ANSWERABLE,
    HEARD_S,
    AlarmStatus,
)
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Act, ActKind, AlarmState, Verdict
from cabinvigil.daemon.core.setup import AlarmSpec, Setup, is_unseen

ENDS = {
    ActKind.UNSHELVE: AlarmState.SHELVED,
    ActKind.RETURN_TO_SERVICE: AlarmState.OUT_OF_SERVICE,
}
"""Which state each act of taking back ends; what the design suppresses, nobody does."""


def act(
    setup: Setup,
    standings: Mapping[str, AlarmStatus],
    history: History,
    event: Act,
    now: float,
) -> tuple[dict[str, AlarmStatus], dict[str, Verdict | None]]:
    """Apply an act to the alarms it names ('' names all); unknown names do nothing.

    Returns:
        The state of every alarm now, and the verdicts of those that were taken back.
    """
    changed = dict(standings)
    verdicts: dict[str, Verdict | None] = {}
    for spec in setup.alarms:
        if event.alarm and event.alarm != spec.id:
            continue
        standing = standings[spec.id]
        if event.kind in ENDS:
            if standing.state is ENDS[event.kind]:
                verdict = spec.judge(spec.params, history, now)
                verdicts[spec.id] = verdict
                changed[spec.id] = shelving.take_back(standing, verdict, now)
        else:
            changed[spec.id] = _one(spec, standing, history, event, now)
    return changed, verdicts


def _one(
    spec: AlarmSpec, standing: AlarmStatus, history: History, event: Act, now: float
) -> AlarmStatus:
    match event.kind:
        case ActKind.ACKNOWLEDGE | ActKind.RESET:
            # A reset by hand is an answer; the table resets by itself once it is clear.
            is_lost = is_unseen(spec, history) and (
                spec.judge(spec.params, history, history.now) is None
            )
            return acknowledge(spec, standing, event, now, is_unseen=is_lost)
        case ActKind.SHELVE if event.alarm:
            return shelving.put_aside(spec, standing, Trigger.SHELVE, event.for_s, now)
        case ActKind.OUT_OF_SERVICE if event.alarm and event.by != "phone":
            return shelving.put_aside(spec, standing, Trigger.REMOVE, 0.0, now)
        case _:
            return standing


def acknowledge(
    spec: AlarmSpec,
    standing: AlarmStatus,
    event: Act,
    now: float,
    *,
    is_unseen: bool = False,
) -> AlarmStatus:
    """Answer an alarm: quiet for `ack_s` at most; nothing else changes.

    What began to sound too short before the act was not heard by whoever acted.  From
    outside a stand is answered once: the phone may lie anywhere.

    Args:
        spec: how the alarm rings.
        standing: where it stood.
        event: the act.
        now: monotonic seconds.
        is_unseen: whether nothing has measured for long what it is about; what nothing
            may quiet while it is measured, an answer ends then.
    """
    if standing.state not in ANSWERABLE:
        return standing
    asked_s = now - event.age_s
    if standing.rang_s > asked_s - HEARD_S or standing.risen_s > asked_s:
        return standing
    if event.is_outside and standing.answered_outside:
        return standing
    quiet_s = min(spec.ack_s, standing.quiet_limit_s)
    if standing.stands and quiet_s <= 0.0 and not is_unseen:
        return standing
    return replace(
        standing,
        state=follow(standing.state, Trigger.ACKNOWLEDGE),
        quiet_until_s=now + quiet_s,
        is_answered=not event.is_outside,
        answered_outside=standing.answered_outside or event.is_outside,
        escalation=standing.escalation if event.is_outside else 0,
    )
