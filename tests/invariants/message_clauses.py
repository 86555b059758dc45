"""Clauses on what is reported: to whom, how often, never softer, nothing hidden."""

import math
import re

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
    Message,
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
        self._each_since_s: dict[str, float] = {}
        """Since when each high that sounds now has sounded."""
        self._reached: set[str] = set()
        """Which phones know of anything that wakes and is unacknowledged."""
        self._sent_s: dict[str, float] = {}
        """When each phone last heard of a high."""
        self._second: list[tuple[float, bool]] = []
        """When the second phone heard of anything, and whether it was of a high."""
        self._excused_until_s = -math.inf
        """Until when it may be silent after a restart."""

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        self._note_each(moment)
        self._note_second(moment)
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
            # It says again first what stands.  Where it cannot know how long it was
            # down, three texts may have gone just before: ten minutes from now they
            # have not.
            wait_s = li.ESCALATE_S if moment.is_gap_known else li.CROWD_S
            self._excused_until_s = moment.at_s + wait_s
        self._sent_s |= dict.fromkeys(high, moment.at_s)
        if moment.kind == "tick":
            yield from self._in_time(oracle, moment, self._since_s)

    def _note_each(self, moment: Moment) -> None:
        since_s = self._each_since_s
        self._each_since_s = {
            alarm: since_s.get(alarm, moment.at_s)
            for alarm, view in moment.alarms.items()
            if view.is_sounding and view.priority >= HIGH
        }

    def _note_second(self, moment: Moment) -> None:
        since_s = moment.at_s - li.CROWD_S - moment.tick_s
        self._second = [one for one in self._second if one[0] >= since_s]
        self._second += [
            (moment.at_s, message.priority >= HIGH)
            for message in moment.messages
            if message.phone == SECOND_PHONE
        ]

    def _in_time(self, oracle: Oracle, moment: Moment, since_s: float) -> Checks:
        slack_s = 2 * moment.tick_s
        if oracle.bump_s is not None or moment.at_s < self._excused_until_s + slack_s:
            return
        since_s = max(since_s, oracle.bump_ended_s)
        for phone in (PHONE, *self._sent_s.keys() - {PHONE}):
            silent_s = moment.at_s - self._sent_s.get(phone, since_s)
            why = f"the {phone} heard nothing for {silent_s:.0f} s"
            yield "d/again", why if silent_s > li.REPEAT_S + moment.tick_s else ""
        # Of one and the same danger: who has answered the first is awake, and the
        # second phone is for a danger that nobody answers.
        unanswered_s = moment.at_s - min(self._each_since_s.values())
        if unanswered_s >= li.ESCALATE_S + slack_s:
            why = f"the second phone knows nothing after {unanswered_s:.0f} s"
            # It rings again after an answer: a high that was told in ten minutes, and
            # nothing softer since, is known, and a fourth text too many.
            is_full = len(self._second) >= li.CROWD and self._second[-1][1]
            is_known = SECOND_PHONE in self._sent_s or is_full
            yield "d/second", "" if is_known else why


class Crowd:
    """g. At most three messages in ten minutes to a phone, but for a rise to high.

    Or of one: a danger's further step is told as a rise is, once in a stand, and where
    it was not told in the last ten minutes.  Who answered a call is told as well, by
    the room of the phone that was called.
    """

    def __init__(self) -> None:
        self._sent_s: dict[str, list[float]] = {PHONE: [], SECOND_PHONE: []}
        self._deep: dict[tuple[str, str], float] = {}
        """When each phone last heard of an alarm whose further step was reached."""
        self._calmed: dict[str, set[str]] = {}
        """Phones that heard that somebody has answered, and what each heard since."""
        self._was_called = False
        """The second phone has been: from then on it may wait for an answer."""

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        self._deep = {
            (phone, alarm): at_s
            for (phone, alarm), at_s in self._deep.items()
            if (alarm in moment.before and moment.before[alarm].is_active)
            or moment.at_s - at_s <= li.CROWD_S
        }
        for message in moment.messages:
            sent_s = self._sent_s[message.phone]
            sent_s.append(moment.at_s)
            while sent_s[0] < moment.at_s - li.CROWD_S:
                sent_s.pop(0)
            is_rise = self._is_rise(moment, message) or self._is_awaited(message)
            self._was_called = self._was_called or message.phone == SECOND_PHONE
            since = self._calmed.get(message.phone)
            if message.alarm == "answered":
                self._calmed[message.phone] = set()
            elif message.priority >= HIGH and since is not None:
                # After "quiet for five minutes" each danger is news again.
                is_rise = is_rise or message.alarm not in since
                since.add(message.alarm)
            if is_rise:
                continue
            why = f"{len(sent_s)} messages in ten minutes to the {message.phone}"
            yield "g/crowd", why if len(sent_s) > li.CROWD else ""

    def _is_awaited(self, message: Message) -> bool:
        is_word_of_it = self._was_called and message.alarm == "answered"
        # To the second phone it has been added already, to the first it goes first.
        others = len(self._sent_s[SECOND_PHONE]) - (message.phone == SECOND_PHONE)
        return is_word_of_it and others < li.CROWD

    def _is_rise(self, moment: Moment, message: Message) -> bool:
        if message.priority < HIGH:
            return False
        further, known = li.FURTHER.get(message.alarm), (message.phone, message.alarm)
        is_deep = further is not None and any(
            part.value is not None and further.is_past(round(part.value, 3))
            for part in moment.parts_of(further.quantity)
        )
        is_deeper = is_deep and known not in self._deep
        if is_deep:
            self._deep[known] = moment.at_s
        # What rose in a bump test is told when that is over.
        is_late = "ended" in moment.bump_tests
        return is_deeper or is_late or not _is_high(moment.before, message.alarm)


def _is_high(alarms: Alarms, alarm: str) -> bool:
    """Return whether a danger stood: one that had passed and is back is a rise."""
    view = alarms.get(alarm)
    return view is not None and view.state == "unacknowledged" and view.priority >= HIGH


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


SAID = {
    # quantity: how a sentence gives its number, and by how much it may be rounded.
    "o2_pct": (re.compile(r"oxygen(?:: |\b[^:]*: still )(\d+\.\d)\s%"), 0.1, 0.0),
    "co_ppm": (re.compile(r"carbon monoxide (\d+)\sppm"), 5.0, 0.02),
    "co2_ppm": (re.compile(r"carbon dioxide (\d+)\sppm"), 60.0, 0.05),
}
OF_HOURS = re.compile(r"(?:gas|air) for ")
"""Such a sentence gives a mean."""


class Numbers:
    """r. The number in a message is one that a part gave within the last minute."""

    def __init__(self) -> None:
        self._gave: list[tuple[float, str, float]] = []
        """When, of which quantity, and what."""

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if moment.kind != "tick":
            return
        since_s = moment.at_s - max(li.NUMBER_S, 2 * moment.tick_s)
        self._gave = [one for one in self._gave if one[0] >= since_s]
        self._gave += [
            (moment.at_s, part.quantity, part.value)
            for part in moment.parts
            if part.value is not None
        ]
        for message in moment.messages:
            if OF_HOURS.search(message.text):
                continue
            for quantity, (number, fixed, share) in SAID.items():
                found = number.search(message.text)
                if found is None:
                    continue
                said = float(found[1])
                allowed = fixed + share * said
                gave = [v for _, one, v in self._gave if one == quantity]
                is_true = any(abs(value - said) <= allowed for value in gave)
                why = f"{message.alarm} said {said:g}, of {sorted(set(gave))[:5]}"
                yield "r/number", "" if is_true else why


def clauses() -> tuple[Clause, ...]:
    """Return the clauses of this file, with nothing remembered."""
    return (Danger(), Crowd(), Transitions(), one_sound, SourceFaults(), Numbers())
