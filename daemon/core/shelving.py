"""How an alarm is set aside, shelved, suppressed or out of service, and comes back.

It is judged all the while, and what its condition would ring as is kept: nothing is
hidden from the log, from the page or from the all-clear.
"""

from dataclasses import replace

from cabinvigil.daemon.core.alarm import ASIDE, Trigger, follow
from cabinvigil.daemon.core.alarm_status import (
    AlarmStatus,
    blind_verdict,
    has_grown,
    held,
    ring,
)
from cabinvigil.daemon.core.model import AlarmState, Priority, Verdict
from cabinvigil.daemon.core.setup import AlarmSpec


def put_aside(
    spec: AlarmSpec, standing: AlarmStatus, trigger: Trigger, for_s: float, now: float
) -> AlarmStatus:
    """Shelve, suppress, or take out of service, where the design allows it.

    What can ever wake people is never shelved, standing or not: a danger put aside
    beforehand would be silent when it comes.  What wakes people now is never taken out
    of service.  Shelving has an end, and is no longer than an answer's quiet time: a
    time that is no positive number shelves nothing.
    """
    if standing.state in ASIDE:
        return standing
    until_s = float("inf")
    wakes = standing.priority if standing.is_open else Priority.FAULT
    if trigger is Trigger.SHELVE:
        most_s = min(spec.shelve_s, spec.ack_s)
        can_wake = spec.gravest >= Priority.MEDIUM or wakes is Priority.HIGH
        if can_wake or most_s <= 0.0 or not for_s > 0.0:
            return standing  # NaN is no time either
        until_s = now + min(most_s, for_s)
    elif trigger is Trigger.REMOVE and (wakes >= Priority.MEDIUM or not spec.removable):
        return standing
    stood = standing.stands
    return replace(
        standing,
        state=follow(standing.state, trigger),
        aside_until_s=until_s,
        aside_limit=standing.priority if stood else Priority.MEDIUM,
        priority_while_shelved=standing.priority if stood else None,
        rising_s=None,
        falling_s=None,
    )


def _hidden(standing: AlarmStatus, verdict: Verdict | None) -> Priority | None:
    """Return what an alarm aside would ring as; 'cannot tell' leaves it as it was."""
    return (
        standing.priority_while_shelved
        if verdict is None
        else held(standing.priority_while_shelved, verdict)
    )


def take_back(
    standing: AlarmStatus, verdict: Verdict | None, now: float
) -> AlarmStatus:
    """Come back into life as the condition now is."""
    if standing.state not in ASIDE:
        return standing
    priority = _hidden(standing, verdict)
    if priority is None:
        state = follow(standing.state, Trigger.RETURN_NORMAL)
        return replace(standing, state=state, priority_while_shelved=None)
    if verdict is None:
        verdict = blind_verdict(standing, priority)
    return ring(standing, Trigger.RETURN_ALARM, verdict, priority, now)


def _is_too_grave(spec: AlarmSpec, standing: AlarmStatus, verdict: Verdict) -> bool:
    """Return whether a condition is too grave to stay aside."""
    if verdict.priority is None:
        return False
    if standing.state is AlarmState.OUT_OF_SERVICE:
        return verdict.priority >= Priority.MEDIUM
    if standing.state is AlarmState.SUPPRESSED:
        return verdict.priority > Priority.FAULT
    if verdict.priority is Priority.HIGH or verdict.priority > standing.aside_limit:
        return True
    return standing.priority_while_shelved is not None and has_grown(
        spec, standing, verdict
    )


def stay_aside(
    spec: AlarmSpec, standing: AlarmStatus, verdict: Verdict | None, now: float
) -> AlarmStatus:
    """Judge an alarm that is set aside: time over, or too grave to be put off."""
    if now >= standing.aside_until_s or (
        verdict is not None and _is_too_grave(spec, standing, verdict)
    ):
        return take_back(standing, verdict, now)
    priority_while_shelved = _hidden(standing, verdict)
    if priority_while_shelved is standing.priority_while_shelved:
        return standing
    if standing.priority_while_shelved is not None or verdict is None:
        return replace(standing, priority_while_shelved=priority_while_shelved)
    return replace(
        standing,
        priority_while_shelved=priority_while_shelved,
        since_s=now,
        severity_when_rung=verdict.severity,
    )


def suppress(
    spec: AlarmSpec,
    standing: AlarmStatus,
    verdict: Verdict | None,
    now: float,
    *,
    is_covered: bool,
) -> AlarmStatus:
    """Hold back a fault whose cause another alarm tells; never more than a fault."""
    if standing.state is AlarmState.SUPPRESSED:
        return standing if is_covered else take_back(standing, verdict, now)
    if is_covered and standing.stands and standing.priority is Priority.FAULT:
        return put_aside(spec, standing, Trigger.SUPPRESS, 0.0, now)
    return standing
