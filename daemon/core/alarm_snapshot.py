"""One alarm across a restart: as plain values, and how it comes back."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.alarm import ASIDE, Trigger
from cabinvigil.daemon.core.alarm_status import AlarmStatus, blind_verdict, ring
from cabinvigil.daemon.core.model import AlarmState, Priority
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.core.shelving import stay_aside, take_back

MOST_AGE_S = 30 * 86_400.0
"""Longer than any night: an older age says no more than this."""


MOST_WORSE = 1e9
"""Larger than any rule's measure of how bad things are."""


TOPICS_KEPT = 16
"""More topics than any rule has."""
LONGEST_TEXT = 400
"""Characters of a kept sentence; ours have at most 140."""


_STATES = {one.value: one for one in AlarmState}


_PRIORITIES = {one.word: one for one in Priority}


def alarm_to_plain(standing: AlarmStatus, now: float) -> dict[str, Any]:
    """Put an alarm into plain values, fit for JSON: moments become ages."""
    priority_while_shelved = standing.priority_while_shelved
    plain: dict[str, Any] = {
        "state": standing.state.value,
        "priority": standing.priority.word,
        "text": standing.text,
        "age_s": now - standing.since_s,
        "unanswered_s": now - standing.unanswered_s,
        "quiet_left_s": standing.quiet_until_s - now,
        "aside_left_s": standing.aside_until_s - now,
        "aside_limit": standing.aside_limit.word,
        "hidden": None
        if priority_while_shelved is None
        else priority_while_shelved.word,
        "told_worse": standing.severity_when_rung,
        "rang_age_s": now - standing.rang_s,
        "grave_age_s": math.inf if standing.grave_s is None else now - standing.grave_s,
        "topics": list(standing.topics),
        "quiet_limit_s": standing.quiet_limit_s,
        "is_answered": standing.is_answered,
        "answered_outside": standing.answered_outside,
        "is_deep": standing.is_deep,
        "escalation": standing.escalation,
        "first_up": standing.first_up,
        "in_doubt": standing.in_doubt,
        "last_held": None if standing.last_held is None else standing.last_held.word,
    }
    # JSON knows no infinity: what has no end, or never was, is left out.
    return {
        key: value
        for key, value in plain.items()
        if not isinstance(value, float) or math.isfinite(value)
    }


def number(value: Any, default: float, low: float, high: float) -> float:
    """Return a number, kept between two bounds; the default where it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return default
    if not math.isfinite(value):
        return default
    return min(max(float(value), low), high)


def priority_of(value: Any, default: Priority) -> Priority:
    """Return the priority of a word; the default where it is none."""
    return _PRIORITIES.get(value, default) if isinstance(value, str) else default


def _topics(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        return ("",)
    return tuple(
        one[:LONGEST_TEXT] for one in value[-TOPICS_KEPT:] if isinstance(one, str)
    )


def alarm_from_plain(kept: Any, now: float, gone_s: float) -> AlarmStatus:
    """Read an alarm as it stood; what cannot be read is taken on the safe side.

    Args:
        kept: what `alarm_to_plain` made, or anything.
        now: monotonic seconds.
        gone_s: what has passed since it was kept, as far as is known.
    """
    kept = kept if isinstance(kept, Mapping) else {}
    state, text = kept.get("state"), kept.get("text")
    priority = priority_of(kept.get("priority"), Priority.MEDIUM)
    is_hidden = kept.get("hidden") is not None

    def ago(key: str) -> float:
        return now - gone_s - number(kept.get(key), 0.0, 0.0, MOST_AGE_S)

    def left(key: str) -> float:
        return now - gone_s + number(kept.get(key), 0.0, 0.0, MOST_AGE_S)

    return AlarmStatus(
        state=_STATES.get(state, AlarmState.UNACKNOWLEDGED)
        if isinstance(state, str)
        else AlarmState.UNACKNOWLEDGED,
        priority=priority,
        since_s=ago("age_s"),
        text=text[:LONGEST_TEXT] if isinstance(text, str) else "",
        quiet_until_s=left("quiet_left_s"),
        severity_when_rung=number(
            kept.get("told_worse"), -math.inf, -MOST_WORSE, MOST_WORSE
        ),
        rang_s=ago("rang_age_s"),
        news_s=ago("rang_age_s"),
        grave_s=ago("grave_age_s") if "grave_age_s" in kept else None,
        topics=_topics(kept.get("topics")),
        quiet_limit_s=number(kept.get("quiet_limit_s"), math.inf, 0.0, MOST_AGE_S),
        is_answered=kept.get("is_answered") is True,
        answered_outside=kept.get("answered_outside") is True,
        is_deep=kept.get("is_deep") is True,
        unanswered_s=ago("unanswered_s"),
        escalation=int(number(kept.get("escalation"), 0.0, 0.0, 2.0)),
        aside_until_s=left("aside_left_s") if "aside_left_s" in kept else math.inf,
        aside_limit=priority_of(kept.get("aside_limit"), Priority.FAULT),
        priority_while_shelved=priority_of(kept.get("hidden"), priority)
        if is_hidden
        else None,
        first_up=kept.get("first_up") is True,
        in_doubt=kept.get("in_doubt") is not False,
        last_held=None
        if kept.get("last_held", "") is None
        else priority_of(kept.get("last_held"), priority),
    )


def come_back(
    spec: AlarmSpec, standing: AlarmStatus, now: float, *, knows_gap: bool
) -> AlarmStatus:
    """Bring an alarm back into life after a restart.

    Whatever is in doubt comes back unacknowledged: an answer whose quiet time may be
    over, one that no reading has confirmed since the restart before, shelving without
    an end.

    Args:
        spec: how the alarm sounds, as it is set now.
        standing: as it stood, in terms of the present clock.
        now: monotonic seconds.
        knows_gap: whether it is known how long the monitor was down.
    """
    if standing.state in ASIDE:
        standing = _back_from_aside(spec, standing, now, knows_gap=knows_gap)
    elif standing.state is AlarmState.ACKNOWLEDGED:
        until_s = min(standing.quiet_until_s, now + spec.ack_s)
        if knows_gap and not standing.in_doubt and until_s > now:
            standing = replace(standing, quiet_until_s=until_s)
        else:
            verdict = blind_verdict(standing, standing.priority)
            trigger = Trigger.REALARM
            standing = ring(standing, trigger, verdict, standing.priority, now)
    return replace(standing, in_doubt=standing.stands)


def _back_from_aside(
    spec: AlarmSpec, standing: AlarmStatus, now: float, *, knows_gap: bool
) -> AlarmStatus:
    """Leave an alarm aside where the design still allows it, and not for longer."""
    allowed = {
        AlarmState.SHELVED: knows_gap,
        AlarmState.SUPPRESSED: bool(spec.suppressed_by),
        AlarmState.OUT_OF_SERVICE: spec.removable,
    }
    if not allowed[standing.state]:
        return take_back(standing, None, now)
    if standing.state is AlarmState.SHELVED:
        until_s = min(standing.aside_until_s, now + spec.shelve_s)
        standing = replace(standing, aside_until_s=until_s)
    priority_while_shelved = standing.priority_while_shelved
    verdict = (
        None
        if priority_while_shelved is None
        else blind_verdict(standing, priority_while_shelved)
    )
    return stay_aside(spec, standing, verdict, now)
