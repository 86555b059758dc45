"""How one alarm moves: delays, dead-band, latching, quiet time, chatter.

Everything is a function of (spec, standing, verdict, now); which state follows which
is looked up in `alarm.py` and nowhere else.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from cabinvigil.daemon.core.alarm import ASIDE, IN_ALARM, SOUNDING, Trigger, follow
from cabinvigil.daemon.core.model import EMPTY, AlarmState, Priority, Verdict
from cabinvigil.daemon.core.setup import AlarmSpec

CHATTER_RAISES = 3
CHATTER_WINDOW_S = 60.0
"""Three raises in a minute is chatter (check values `alarm_chatter`, read there)."""
CHATTER_HOLD_S = 600.0
"""A chattering alarm stands for ten minutes after its last raise: our own choice, ten
of the windows by which it is called chatter."""


@dataclass(frozen=True, slots=True)
class Standing:
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
    """Since when the condition has been gone without being cleared yet."""
    quiet_until_s: float = float("-inf")
    """End of the quiet time that an acknowledgement bought."""
    told_worse: float = float("-inf")
    """`Verdict.worse` when it last rang."""
    unanswered_s: float = 0.0
    """Since when it has sounded without an answer."""
    escalation: int = 0
    aside_until_s: float = float("inf")
    """End of shelving."""
    first_up: bool = False
    raises: tuple[float, ...] = ()
    """The last raises, for chatter."""
    in_doubt: bool = False
    """Came back with a restart: stands until a good reading clears it."""

    @property
    def sounds(self) -> bool:
        """Say whether it is annunciated now."""
        return self.state in SOUNDING

    @property
    def stands(self) -> bool:
        """Say whether its condition stands now, as far as is known."""
        return self.state in IN_ALARM


def _warranted(standing: Standing, verdict: Verdict) -> Priority | None:
    """Return the priority that holds now, with the dead-band counted in."""
    if not standing.stands or verdict.hold is None:
        return verdict.priority
    held = min(standing.priority, verdict.hold)
    return held if verdict.priority is None else max(held, verdict.priority)


def _rung(
    standing: Standing,
    trigger: Trigger,
    verdict: Verdict,
    priority: Priority,
    now: float,
) -> Standing:
    """Ring, or ring anew."""
    fresh_stand = not standing.stands
    raises = standing.raises
    if fresh_stand:
        raises = (*raises[-(CHATTER_RAISES - 1) :], now)
    return replace(
        standing,
        state=follow(standing.state, trigger),
        priority=priority,
        since_s=now if fresh_stand else standing.since_s,
        evidence=verdict.evidence,
        rising_s=None,
        falling_s=None,
        quiet_until_s=float("-inf"),
        told_worse=verdict.worse,
        unanswered_s=standing.unanswered_s if standing.sounds else now,
        escalation=standing.escalation if standing.sounds else 0,
        raises=raises,
        in_doubt=False,
    )


def chatters(standing: Standing) -> bool:
    """Say whether the last raises came three in a minute."""
    raises = standing.raises
    return len(raises) == CHATTER_RAISES and raises[-1] - raises[0] <= CHATTER_WINDOW_S


def _rise(
    spec: AlarmSpec,
    standing: Standing,
    verdict: Verdict,
    priority: Priority,
    when: tuple[float, float],
) -> Standing:
    """Count the on-delay of a condition that is not raised yet, and raise it."""
    now, before_s = when
    rising_s = standing.rising_s
    if rising_s is None:
        # It may have begun right after the readings before: a delay shorter than the
        # step of slow readings must not cost another step.
        rising_s = max(before_s, now - spec.on_delay_s)
    if now - rising_s < spec.on_delay_s:
        return replace(standing, rising_s=rising_s)
    if standing.state is AlarmState.LATCHED_UNACKNOWLEDGED:
        priority = max(priority, standing.priority)
    return _rung(standing, Trigger.RAISE, verdict, priority, now)


def _keep(
    spec: AlarmSpec,
    standing: Standing,
    verdict: Verdict,
    priority: Priority,
    now: float,
) -> Standing:
    """Move within a stand: a step up, worse by a step, quiet time over, a step down."""
    if standing.falling_s is not None or standing.in_doubt:
        standing = replace(standing, falling_s=None, in_doubt=False)
    worse = verdict.worse >= standing.told_worse + spec.again_step
    if priority > standing.priority or worse:
        priority = max(priority, standing.priority)
        return _rung(standing, Trigger.REALARM, verdict, priority, now)
    if standing.state is AlarmState.ACKNOWLEDGED:
        if now >= standing.quiet_until_s:
            return _rung(standing, Trigger.REALARM, verdict, priority, now)
        if priority < standing.priority:
            return replace(standing, priority=priority, told_worse=verdict.worse)
    return standing


def _fall(spec: AlarmSpec, standing: Standing, now: float) -> Standing:
    """Count the off-delay of a condition that is gone, and clear it."""
    falling_s = now if standing.falling_s is None else standing.falling_s
    off_delay_s = spec.off_delay_s
    if chatters(standing):
        off_delay_s = max(off_delay_s, CHATTER_HOLD_S)
    if now - falling_s < off_delay_s:
        return replace(standing, falling_s=falling_s)
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


def _from_aside(standing: Standing, verdict: Verdict | None, now: float) -> Standing:
    """Come back into life as the condition now is; 'cannot tell' counts as standing."""
    if verdict is not None and verdict.priority is None:
        return replace(standing, state=follow(standing.state, Trigger.RETURN_NORMAL))
    if verdict is None:
        verdict = Verdict(standing.priority)
    priority = verdict.priority or standing.priority
    return _rung(standing, Trigger.RETURN_ALARM, verdict, priority, now)


def advance(
    spec: AlarmSpec,
    standing: Standing,
    verdict: Verdict | None,
    now: float,
    before_s: float,
) -> Standing:
    """Move an alarm by one verdict; None neither raises nor clears anything.

    Args:
        spec: how the alarm rings.
        standing: where it stood.
        verdict: what its rule says now.
        now: monotonic seconds.
        before_s: when readings came before this time; `now` where there were none.
    """
    if standing.state in ASIDE:
        return _aside(standing, verdict, now)
    if verdict is None:
        return _blind(standing, now)
    priority = _warranted(standing, verdict)
    if standing.stands:
        if priority is None:
            return _fall(spec, standing, now)
        return _keep(spec, standing, verdict, priority, now)
    if priority is not None:
        return _rise(spec, standing, verdict, priority, (now, before_s))
    if standing.state is AlarmState.LATCHED_ACKNOWLEDGED:
        # Acknowledged and clear: `high` latches until acknowledged, no longer.
        return replace(standing, state=follow(standing.state, Trigger.RESET))
    if standing.rising_s is not None:
        return replace(standing, rising_s=None)
    return standing


def _blind(standing: Standing, now: float) -> Standing:
    """Go on without a verdict: only the end of quiet time still rings."""
    if standing.state is not AlarmState.ACKNOWLEDGED or now < standing.quiet_until_s:
        return standing
    blind = Verdict(
        standing.priority, evidence=standing.evidence, worse=standing.told_worse
    )
    return _rung(standing, Trigger.REALARM, blind, standing.priority, now)


def _aside(standing: Standing, verdict: Verdict | None, now: float) -> Standing:
    """Judge an alarm that stands aside: time over, or too grave to be put off."""
    grave = verdict is not None and verdict.priority is Priority.HIGH
    if standing.state is AlarmState.SHELVED and (
        now >= standing.aside_until_s or (grave and standing.priority < Priority.HIGH)
    ):
        return _from_aside(standing, verdict, now)
    if standing.state is AlarmState.OUT_OF_SERVICE and grave:
        return _from_aside(standing, verdict, now)
    return standing


def acknowledge(spec: AlarmSpec, standing: Standing, now: float) -> Standing:
    """Answer an alarm: quiet for `ack_s` at most; nothing else changes."""
    if standing.state not in (
        AlarmState.UNACKNOWLEDGED,
        AlarmState.RETURNED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
    ):
        return standing
    return replace(
        standing,
        state=follow(standing.state, Trigger.ACKNOWLEDGE),
        quiet_until_s=now + spec.ack_s,
        escalation=0,
    )


def put_aside(
    spec: AlarmSpec, standing: Standing, trigger: Trigger, for_s: float, now: float
) -> Standing:
    """Shelve, suppress, or take out of service, where the design allows it.

    A standing `high` is never put aside, and a gas alarm never taken out of service.
    """
    if standing.state in ASIDE:
        return standing
    grave = standing.priority is Priority.HIGH and (standing.stands or standing.sounds)
    if trigger is Trigger.SHELVE and (grave or spec.shelve_s <= 0.0):
        return standing
    if trigger is Trigger.REMOVE and not spec.removable:
        return standing
    until_s = (
        now + min(for_s, spec.shelve_s) if trigger is Trigger.SHELVE else float("inf")
    )
    return replace(
        standing,
        state=follow(standing.state, trigger),
        aside_until_s=until_s,
        rising_s=None,
        falling_s=None,
    )


def take_back(standing: Standing, verdict: Verdict | None, now: float) -> Standing:
    """End shelving, suppression or being out of service."""
    return _from_aside(standing, verdict, now) if standing.state in ASIDE else standing
