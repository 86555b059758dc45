"""How one alarm moves: delays, dead-band, latching, quiet time, chatter.

Everything is a function of (spec, standing, verdict, now); which state follows which
is looked up in `alarm.py` and nowhere else.  Standing aside is in `shelving.py`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from cabinvigil.daemon.core.alarm import IN_ALARM, SOUNDING, Trigger, follow
from cabinvigil.daemon.core.model import (
    EMPTY,
    AlarmState,
    Cause,
    Priority,
    Verdict,
)
from cabinvigil.daemon.core.setup import AlarmSpec

ANSWERABLE = frozenset(
    {
        AlarmState.UNACKNOWLEDGED,
        AlarmState.RETURNED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
    }
)
"""The states that wait for a person."""

CHATTER_RAISES = 3
CHATTER_WINDOW_S = 60.0
"""Three raises in a minute is chatter (check values `alarm_chatter`, read there)."""
CHATTER_HOLD_S = 600.0
"""So long gone, a chattering alarm is over (own choice, ten of those windows)."""


HEARD_S = 2.0
"""An answer is to what had sounded for two seconds: whoever presses for a chirp has not
heard the danger that began as he reached out (own choice, twice a person's delay)."""

DEEPER = "deep"
"""The wording by which a rule says that a further step of the same priority is reached:
the act is another one, so it rings anew, once in a stand."""


@dataclass(frozen=True, slots=True)
class AlarmStatus:
    """Where one alarm stands."""

    state: AlarmState = AlarmState.NORMAL
    priority: Priority = Priority.FAULT
    """Of the present stand; while nobody has acknowledged, the worst it has been."""
    since_s: float = 0.0
    """When the present stand began."""
    text: str = ""
    evidence: Mapping[str, Any] = field(default_factory=lambda: EMPTY)
    rising_s: float | None = None
    """Since when the condition has stood without being raised yet."""
    falling_s: float | None = None
    """Since when the condition has been known to be gone without being cleared yet."""
    last_held: Priority | None = None
    """What held when it was last known, however long ago that is; None: it was gone."""
    risen_s: float = float("-inf")
    """When that last rose within the stand: an answer from before is to less."""
    quiet_until_s: float = float("-inf")
    """End of the quiet time that an acknowledgement bought."""
    quiet_limit_s: float = float("inf")
    """The longest quiet time that the last verdict lets an answer buy."""
    severity_when_rung: float = float("-inf")
    """`Verdict.severity` when it last rang, or the least since it was answered."""
    rang_s: float = float("-inf")
    """When it last began to sound, or sounded again."""
    news_s: float = float("-inf")
    """When it last did so out of quiet, or for more than before."""
    rings: int = 0
    """How often it has sounded, or sounded again, since the start."""
    topics: tuple[str, ...] = ("",)
    """Every `Verdict.topic` that it has sounded for in this stand, the present last."""
    causes: frozenset[Cause] = frozenset()
    """`Verdict.causes` of the last verdict in this stand."""
    grave_s: float | None = None
    """Since when it is `high`, in this stand."""
    is_answered: bool = False
    """Whether somebody in the cabin has answered since it last began to sound."""
    answered_outside: bool = False
    """Whether a phone has answered it in this stand: that counts once."""
    is_deep: bool = False
    """Whether the further step has been told in this stand."""
    unanswered_s: float = 0.0
    """Since when it has called for a person without an answer from the cabin."""
    escalation: int = 0
    aside_until_s: float = float("inf")
    """End of shelving."""
    aside_limit: Priority = Priority.MEDIUM
    """Graver than this, it does not stay shelved."""
    priority_while_shelved: Priority | None = None
    """While aside: what its condition would ring as; None is absent."""
    first_up: bool = False
    raises: tuple[float, ...] = ()
    """The last raises, for chatter."""
    in_doubt: bool = False
    """Came back with a restart, and no reading has spoken on it yet."""

    @property
    def sounds(self) -> bool:
        """Return whether it is annunciated now."""
        return self.state in SOUNDING

    @property
    def stands(self) -> bool:
        """Return whether its condition stands now, as far as is known."""
        return self.state in IN_ALARM

    @property
    def is_open(self) -> bool:
        """Return whether it stands, or still waits for an answer."""
        return self.stands or self.sounds

    @property
    def wakes(self) -> bool:
        """Return whether it is open and of those that wake people, answered or not."""
        return self.priority >= Priority.MEDIUM and self.is_open

    @property
    def calls(self) -> bool:
        """Return whether it sounds, and is of those that wake people."""
        return self.priority >= Priority.MEDIUM and self.sounds


def held(priority: Priority | None, verdict: Verdict) -> Priority | None:
    """Return what holds now of an alarm of this priority, the dead-band counted in."""
    if priority is None or verdict.hold is None:
        return verdict.priority
    kept = min(priority, verdict.hold)
    return kept if verdict.priority is None else max(kept, verdict.priority)


def ring(
    standing: AlarmStatus,
    trigger: Trigger,
    verdict: Verdict,
    priority: Priority,
    now: float,
) -> AlarmStatus:
    """Ring, or ring again."""
    goes_on = standing.stands or standing.priority_while_shelved is not None
    # Only what wakes people can be left unanswered: an hour of `low` is no escalation.
    waits = standing.priority >= Priority.MEDIUM and (
        standing.sounds or (goes_on and not standing.is_answered)
    )
    raises = standing.raises
    if not goes_on:
        raises = (*raises[-(CHATTER_RAISES - 1) :], now)
    grave_s = now if priority is Priority.HIGH else None
    if goes_on and grave_s is not None and standing.grave_s is not None:
        grave_s = standing.grave_s
    topics = standing.topics if goes_on else ()
    return replace(
        standing,
        state=follow(standing.state, trigger),
        priority=priority,
        since_s=standing.since_s if goes_on else now,
        evidence=verdict.evidence,
        rising_s=None,
        falling_s=None,
        last_held=priority,
        quiet_until_s=float("-inf"),
        quiet_limit_s=verdict.quiet_s,
        severity_when_rung=verdict.severity,
        rang_s=now,
        news_s=standing.news_s if standing.sounds and trigger is Trigger.RAISE else now,
        rings=standing.rings + 1,
        topics=_latest(topics, verdict.topic),
        causes=verdict.causes,
        grave_s=grave_s,
        is_answered=False,
        answered_outside=goes_on and standing.answered_outside,
        is_deep=verdict.wording == DEEPER or (goes_on and standing.is_deep),
        unanswered_s=standing.unanswered_s if waits else now,
        escalation=standing.escalation if waits else 0,
        aside_until_s=float("inf"),
        priority_while_shelved=None,
        raises=raises,
        in_doubt=False,
    )


def _latest(topics: tuple[str, ...], topic: str) -> tuple[str, ...]:
    return (*(one for one in topics if one != topic), topic)


def blind_verdict(standing: AlarmStatus, priority: Priority) -> Verdict:
    """Make up the verdict of an alarm that rings though nothing can be told now."""
    return Verdict(
        priority,
        evidence=standing.evidence,
        severity=standing.severity_when_rung,
        topic=standing.topics[-1] if standing.topics else "",
        causes=standing.causes,
        quiet_s=standing.quiet_limit_s,
    )


def has_grown(spec: AlarmSpec, standing: AlarmStatus, verdict: Verdict) -> bool:
    """Return whether things are worse by the alarm's step than at its last sound."""
    told = standing.severity_when_rung
    return verdict.severity > told and verdict.severity >= told + spec.again_step


def chatters(standing: AlarmStatus) -> bool:
    """Return whether the last raises came three in a minute."""
    raises = standing.raises
    return len(raises) == CHATTER_RAISES and raises[-1] - raises[0] <= CHATTER_WINDOW_S


def _rise(
    spec: AlarmSpec,
    standing: AlarmStatus,
    verdict: Verdict,
    priority: Priority,
    when: tuple[float, float],
) -> AlarmStatus:
    """Count the on-delay of a condition that is not raised yet, and raise it."""
    now, before_s = when
    rising_s = standing.rising_s
    if rising_s is None:
        # It may have begun right after the readings before: a delay shorter than the
        # step of slow readings must not cost another step.
        rising_s = max(before_s, now - spec.on_delay_s)
    if now - rising_s < spec.on_delay_s:
        if standing.rising_s is not None:
            return standing
        return replace(standing, rising_s=rising_s)
    if standing.state is AlarmState.LATCHED_UNACKNOWLEDGED:
        priority = max(priority, standing.priority)
    return ring(standing, Trigger.RAISE, verdict, priority, now)


def _keep(
    spec: AlarmSpec,
    standing: AlarmStatus,
    verdict: Verdict,
    priority: Priority,
    now: float,
) -> AlarmStatus:
    """Move within a stand: a step up, worse by a step, quiet time over, a step down."""
    # An answer is to what was last known to stand: a lesser step, or nothing any more.
    has_risen = standing.last_held is None or priority > standing.last_held
    is_back = has_risen and priority >= Priority.MEDIUM
    is_back = is_back or _has_new_cause(standing, verdict)
    if standing.causes != verdict.causes:
        standing = replace(standing, causes=verdict.causes)
    known = standing.falling_s, standing.last_held, standing.in_doubt
    if known != (None, priority, False):
        standing = replace(standing, falling_s=None, last_held=priority, in_doubt=False)
    if is_back:
        standing = replace(standing, risen_s=now)
    if standing.quiet_limit_s != verdict.quiet_s:
        standing = replace(standing, quiet_limit_s=verdict.quiet_s)
    if priority > standing.priority or _is_news(spec, standing, verdict):
        priority = max(priority, standing.priority)
        return ring(standing, Trigger.REALARM, verdict, priority, now)
    if verdict.priority is not None and (verdict.topic,) != standing.topics[-1:]:
        standing = replace(standing, topics=_latest(standing.topics, verdict.topic))
    if standing.state is AlarmState.ACKNOWLEDGED:
        is_over = now >= standing.quiet_until_s or verdict.quiet_s <= 0.0
        if is_over or (is_back and verdict.priority is not None):
            return ring(standing, Trigger.REALARM, verdict, priority, now)
        return _eased(standing, verdict, priority)
    return standing


def _is_news(spec: AlarmSpec, standing: AlarmStatus, verdict: Verdict) -> bool:
    """Return whether there is more to say than when it last rang, answered or not."""
    is_deeper = verdict.wording == DEEPER and not standing.is_deep
    is_other = verdict.priority is not None and verdict.topic not in standing.topics
    return is_deeper or is_other or has_grown(spec, standing, verdict)


def _has_new_cause(standing: AlarmStatus, verdict: Verdict) -> bool:
    """Return whether it stands for anything that it did not stand for before.

    What is lost while it goes on is news; that it is heard again is none.
    """
    return any(
        replace(cause, is_lost=True) not in standing.causes
        for cause in verdict.causes - standing.causes
    )


def _eased(standing: AlarmStatus, verdict: Verdict, priority: Priority) -> AlarmStatus:
    """Follow what was answered down, so that the next rise is news from there."""
    severity = min(standing.severity_when_rung, verdict.severity)
    if priority < standing.priority:
        severity = verdict.severity
    if priority == standing.priority and severity == standing.severity_when_rung:
        return standing
    return replace(standing, priority=priority, severity_when_rung=severity)


def _fall(spec: AlarmSpec, standing: AlarmStatus, now: float) -> AlarmStatus:
    """Count the off-delay of a condition that is gone, and clear it."""
    falling_s = now if standing.falling_s is None else standing.falling_s
    off_delay_s = spec.off_delay_s
    if chatters(standing):
        off_delay_s = max(off_delay_s, CHATTER_HOLD_S)
    if now - falling_s < off_delay_s:
        if standing.falling_s is not None:
            return standing
        return replace(standing, falling_s=falling_s, last_held=None)
    if spec.latch and standing.priority is Priority.HIGH:
        trigger = Trigger.CLEAR_LATCHING
    elif standing.priority <= Priority.LOW:
        trigger = Trigger.CLEAR_SELF_ACKNOWLEDGED
    else:
        trigger = Trigger.CLEAR
    return replace(
        standing,
        state=follow(standing.state, trigger),
        falling_s=None,
        in_doubt=False,
    )


def _rest(standing: AlarmStatus) -> AlarmStatus:
    """Go on without a condition: what latched and is acknowledged resets itself."""
    if standing.state is AlarmState.LATCHED_ACKNOWLEDGED:
        # `high` latches until acknowledged, and no longer.
        state = follow(standing.state, Trigger.RESET)
        return replace(standing, state=state, rising_s=None)
    if standing.rising_s is not None:
        return replace(standing, rising_s=None)
    return standing


def _blind(standing: AlarmStatus, now: float, *, is_unseen: bool) -> AlarmStatus:
    """Go on without a verdict: nothing is raised, and nothing comes nearer to clearing.

    The end of the quiet time rings all the same.  But what nothing measures any more
    ends once it is answered: the alarm that nothing measures it stands in its place.
    """
    if is_unseen and standing.state is AlarmState.ACKNOWLEDGED:
        state = follow(standing.state, Trigger.CLEAR)
        return replace(standing, state=state, falling_s=None, in_doubt=False)
    if is_unseen and standing.state is AlarmState.LATCHED_ACKNOWLEDGED:
        return _rest(standing)
    if standing.falling_s is not None:
        # The off-delay asks for known good air throughout, not at its two ends.
        standing = replace(standing, falling_s=None)
    if standing.state is not AlarmState.ACKNOWLEDGED or now < standing.quiet_until_s:
        return standing
    verdict = blind_verdict(standing, standing.priority)
    # Nothing has spoken on it: what was in doubt is so still.
    rung = ring(standing, Trigger.REALARM, verdict, standing.priority, now)
    return replace(rung, in_doubt=standing.in_doubt)


def advance(
    spec: AlarmSpec,
    standing: AlarmStatus,
    verdict: Verdict | None,
    now: float,
    before_s: float,
    *,
    is_unseen: bool = False,
) -> AlarmStatus:
    """Move an alarm in life by one verdict; None neither raises nor clears anything.

    Args:
        spec: how the alarm rings.
        standing: where it stood; not aside.
        verdict: what its rule says now.
        now: monotonic seconds.
        before_s: when readings came before this time; `now` where there were none.
        is_unseen: whether nothing has measured for long what it is about.
    """
    if verdict is None:
        return _blind(standing, now, is_unseen=is_unseen)
    priority = held(standing.priority if standing.stands else None, verdict)
    if standing.stands:
        if priority is None:
            return _fall(spec, standing, now)
        return _keep(spec, standing, verdict, priority, now)
    if priority is not None:
        return _rise(spec, standing, verdict, priority, (now, before_s))
    return _rest(standing)
