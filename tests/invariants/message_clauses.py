"""Clauses on what is reported: to whom, how often, never softer, nothing hidden."""

import math

from tests.invariants import limits as li
from tests.invariants.moment import (
    FAULT,
    HIGH,
    LOUDNESS,
    LOW,
    MEDIUM,
    PHONE,
    SECOND_PHONE,
    Alarms,
    Moment,
)
from tests.invariants.oracle import Checks, Clause, Oracle, wakes


def _is_ringing(alarms: Alarms, priority: int) -> bool:
    return any(v.is_sounding and v.priority >= priority for v in alarms.values())


class Danger:
    """d. What the phones hear of a high that nobody acknowledges."""

    def __init__(self) -> None:
        self._since_s: float | None = None
        """Since when a high has sounded."""
        self._reached: set[str] = set()
        """Which phones know of anything that wakes and is unacknowledged."""
        self._sent_s: dict[str, float] = {}
        """When each phone last heard of a high."""
        self._restarted_s = -math.inf

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if not _is_ringing(moment.alarms, MEDIUM):
            self._reached = set()
        was, is_now = (_is_ringing(v, HIGH) for v in (moment.before, moment.alarms))
        messages = moment.messages
        if was and is_now and moment.kind != "restart":
            softer = [m for m in messages if m.priority < HIGH]
            yield "d/softer", "; ".join(f"{m.alarm} to the {m.phone}" for m in softer)
        high = {message.phone for message in messages if message.priority >= HIGH}
        if PHONE in high and SECOND_PHONE in self._reached and moment.kind != "restart":
            is_both = SECOND_PHONE in high
            yield "d/both", "" if is_both else "the second phone does not hear of it"
        self._reached |= {m.phone for m in messages if m.priority >= MEDIUM}
        if not is_now:
            self._since_s, self._sent_s = None, {}
            return
        if self._since_s is None:
            self._since_s = moment.at_s
        if moment.kind == "restart":
            self._restarted_s = moment.at_s
        self._sent_s |= dict.fromkeys(high, moment.at_s)
        if moment.kind == "tick":
            yield from self._in_time(moment, self._since_s)

    def _in_time(self, moment: Moment, since_s: float) -> Checks:
        slack_s = 2 * moment.tick_s
        if moment.at_s - self._restarted_s < li.ESCALATE_S + slack_s:
            return  # it says again first what stands
        for phone in (PHONE, *self._sent_s.keys() - {PHONE}):
            silent_s = moment.at_s - self._sent_s.get(phone, since_s)
            why = f"the {phone} heard nothing for {silent_s:.0f} s"
            yield "d/again", why if silent_s > li.REPEAT_S + moment.tick_s else ""
        unanswered_s = moment.at_s - since_s
        if unanswered_s >= li.ESCALATE_S + slack_s:
            why = f"the second phone knows nothing after {unanswered_s:.0f} s"
            yield "d/second", "" if SECOND_PHONE in self._sent_s else why


class Crowd:
    """g. At most three messages in ten minutes to a phone, but for a rise to high."""

    def __init__(self) -> None:
        self._sent_s: dict[str, list[float]] = {PHONE: [], SECOND_PHONE: []}

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        for message in moment.messages:
            was = moment.before.get(message.alarm)
            was_high = was is not None and was.is_sounding and was.priority >= HIGH
            if message.priority >= HIGH and not was_high:
                continue
            sent_s = self._sent_s[message.phone]
            sent_s.append(moment.at_s)
            while sent_s[0] < moment.at_s - li.CROWD_S:
                sent_s.pop(0)
            why = f"{len(sent_s)} messages in ten minutes to the {message.phone}"
            yield "g/crowd", why if len(sent_s) > li.CROWD else ""


class Transitions:
    """o. The transitions that are reported are where the alarms are."""

    def __init__(self) -> None:
        self._states: dict[str, str] = {}

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if moment.kind in ("restart", "reload"):
            self._states = {alarm: v.state for alarm, v in moment.alarms.items()}
            return
        wrong = []
        for alarm, was, to in moment.moves:
            reported = self._states.get(alarm, "normal")
            if reported != was:
                wrong.append(f"{alarm} reported from {was}, was {reported}")
            self._states[alarm] = to
        if moment.alarms is moment.before:
            return
        for alarm in self._states.keys() | moment.alarms.keys():
            view = moment.alarms.get(alarm)
            state = "normal" if view is None else view.state
            reported = self._states.get(alarm, "normal")
            if reported != state:
                wrong.append(f"{alarm} is {state}, reported {reported}")
        yield "o/transitions", "; ".join(wrong)


LEAST = {HIGH: 3, MEDIUM: 2, LOW: 0, FAULT: 1}
"""How loud each priority must be, as `LOUDNESS` counts."""


def one_sound(oracle: Oracle, moment: Moment) -> Checks:
    """k. and p. The gravest unacknowledged alarm rules the sound; nothing hides it."""
    is_same = moment.alarms is moment.before and moment.sound == moment.sound_before
    if is_same and "test" not in moment.sounds:
        return
    views = moment.alarms.values()
    gravest = max((LEAST[v.priority] for v in views if v.is_sounding), default=0)
    is_lower = LOUDNESS[moment.sound] < gravest
    yield "k/lower", f"{moment.sound} plays" if is_lower else ""
    hides = "test" in moment.sounds and wakes(moment.sound_before)
    yield "k/test", f"a test over {moment.sound_before}" if hides else ""
    view = moment.alarms.get(moment.sound_of)
    is_baseless = moment.sound != "quiet" and (view is None or not view.is_sounding)
    why = f"{moment.sound} plays for {moment.sound_of}"
    yield "p/cause", why if is_baseless else ""


class SourceFaults:
    """n. Another fault of a source that is faulty is reported."""

    def __init__(self) -> None:
        self._kinds: dict[str, str] = {}

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if moment.kind != "source":
            return
        source, kind = moment.source
        was = self._kinds.get(source, "ok")
        self._kinds[source] = kind
        if "ok" in (was, kind) or was == kind:
            return
        known = [a for a in moment.known_alarms if a.endswith(f"/{source}")]
        active = [a for a in known if a in moment.before and moment.before[a].is_active]
        if not active:
            return
        is_sent = any(message.alarm in active for message in moment.messages)
        is_shown = any(
            alarm in moment.alarms
            and moment.alarms[alarm].text != moment.before[alarm].text
            for alarm in active
        )
        why = f"{source}: {was}, then {kind}"
        yield "n/other-fault", "" if is_sent or is_shown else why


def clauses() -> tuple[Clause, ...]:
    """Return the clauses of this file, with nothing remembered."""
    return (Danger(), Crowd(), Transitions(), one_sound, SourceFaults())
