"""Clauses on what people do: it ends alarms, and hides no danger."""

import math
from dataclasses import dataclass

from tests.invariants import limits as li
from tests.invariants.air_clauses import BLOOD_ALARM, GAS_ALARMS
from tests.invariants.limits import LIMITS
from tests.invariants.moment import HIGH, LOW, MEDIUM, SECOND_PHONE, Act, Moment
from tests.invariants.oracle import Checks, Clause, Oracle, wakes

OUTSIDE = ("phone", "socket")
PUTS_ASIDE = ("shelve", "out-of-service")
MAY_WAKE = (*GAS_ALARMS, "sensor-stale/o2_pct", "sensor-stale/co_ppm", "hot")
"""How the names of alarms begin that can come to wake people."""


def latched(oracle: Oracle, moment: Moment) -> Checks:
    """f. What is latched at `high` is ended by a person, and not by time."""
    if moment.alarms is moment.before:
        return
    for alarm, was in moment.before.items():
        if not (was.is_sounding and was.priority >= HIGH):
            continue
        if moment.act is not None and _may_quiet(moment.act, alarm):
            continue
        view = moment.alarms.get(alarm)
        goes_on = view is not None and view.is_sounding and view.priority >= HIGH
        became = "normal" if view is None else f"{view.state} at {view.priority}"
        yield "f/by-time", "" if goes_on else f"{alarm} {was.state} became {became}"


def _may_quiet(act: Act, alarm: str) -> bool:
    puts_aside = act.verb in PUTS_ASIDE and act.alarm == alarm
    return puts_aside or act.acknowledges(alarm)


def put_aside(oracle: Oracle, moment: Moment) -> Checks:
    """i. From outside, only faults and lows are put aside."""
    act = moment.act
    if act is None or act.by not in OUTSIDE or act.verb not in PUTS_ASIDE:
        return
    for alarm, view in moment.alarms.items():
        was = moment.before.get(alarm)
        is_new = view.is_aside and (was is None or not was.is_aside)
        if not is_new or view.state == "suppressed":
            continue
        priority = was.priority if was is not None and was.is_active else 0
        why = f"{alarm} is put aside by {act.by}"
        is_grave = priority >= MEDIUM
        yield "i/shelved", f"{why}, at {priority}" if is_grave else ""
        may_wake = alarm.startswith(MAY_WAKE)
        yield "i/beforehand", f"{why}, which may wake" if may_wake else ""


@dataclass(slots=True)
class Quieted:
    """An alarm that was quieted from outside, and not by hand since."""

    value: float
    """The true value at that moment."""
    priority: int


STEPS = {"o2_pct": 0.4, "co_ppm": 40.0, "co2_ppm": 4000.0}
"""So much worse, it rings anew and may be acknowledged anew: a little less than the
packaged limits' own steps."""
ONE_LIMIT_EACH = tuple({limit.guard: limit for limit in LIMITS}.values())


class Outside:
    """i. An acknowledgement from outside quiets an alarm once, and puts nothing off."""

    def __init__(self) -> None:
        self._quieted: dict[str, Quieted] = {}
        self._second_s = -math.inf
        """When the second phone last heard of anything."""
        self._hand_s = -math.inf
        """When somebody last acknowledged by hand."""

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if any(message.phone == SECOND_PHONE for message in moment.messages):
            self._second_s = moment.at_s
        act = moment.act
        # The machine's own socket is bounded as the button is: its group is at hand.
        is_by_hand = act is not None and act.by in ("button", "socket")
        if act is not None and is_by_hand and act.acknowledges(act.alarm):
            self._hand_s = moment.at_s
            self._quieted.clear()
        if act is not None and not is_by_hand:
            yield from self._again(moment)
        for alarm in list(self._quieted):
            view = moment.alarms.get(alarm)
            if view is None or not view.is_active:  # once for as long as it stands
                del self._quieted[alarm]
        if moment.kind == "tick":
            yield from self._put_off(oracle, moment)

    def _again(self, moment: Moment) -> Checks:
        for limit in ONE_LIMIT_EACH:
            was, view = (v.get(limit.guard) for v in (moment.before, moment.alarms))
            if was is None or not was.is_sounding or was.priority < MEDIUM:
                continue
            if view is None or view.is_sounding or view.is_aside:
                continue
            value = moment.true(limit.quantity)
            last = self._quieted.get(limit.guard)
            is_first = (
                last is None
                or abs(value - last.value) >= STEPS[limit.quantity]
                or was.priority > last.priority
            )
            if is_first:
                self._quieted[limit.guard] = Quieted(value, was.priority)
            why = f"{limit.guard} is quieted again from outside"
            yield "i/again", "" if is_first else why

    def _put_off(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check that acknowledging from outside keeps nothing from the second phone."""
        for limit in LIMITS:
            past_s = oracle.excursions[limit.name].past_s
            if limit.priority < HIGH or past_s is None or self._hand_s >= past_s:
                continue
            acks = oracle.acknowledgements(limit.guard)
            view = moment.alarms.get(limit.guard)
            is_aside = view is not None and view.is_aside
            if not acks or acks[0].at_s < past_s or is_aside or moment.is_loose:
                continue
            due_s = past_s + limit.delay_s + li.ESCALATE_S + limit.ack_s
            if moment.at_s < due_s + 3 * moment.tick_s:
                continue
            is_sent = self._second_s >= past_s - li.ESCALATE_S
            age_s = moment.at_s - past_s
            why = f"{limit.name} is passed for {age_s:.0f} s, acknowledged from outside"
            yield "i/put-off", "" if is_sent else f"{why}: the second phone knows not"


NEVER_QUIET = "co-level"
"""What no acknowledgement quiets from 300 ppm on."""
BUTTON_FAULT = "watch-fault/button"


class Heard:
    """l. A hand in the cabin quiets what has sounded for two seconds."""

    def __init__(self) -> None:
        self._rang_s: dict[str, float] = {}
        """When each alarm last began to sound, or sounded anew."""

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        act = moment.act
        is_by_hand = act is not None and act.by == "button"
        if act is not None and is_by_hand and BUTTON_FAULT not in moment.alarms:
            yield from self._quieted(moment, act)
        for alarm, _, to in moment.moves:
            if to == "unacknowledged":
                self._rang_s[alarm] = moment.at_s

    def _quieted(self, moment: Moment, act: Act) -> Checks:
        for alarm, was in moment.before.items():
            since_s = self._rang_s.get(alarm, -math.inf)
            is_heard = was.is_sounding and act.asked_s - since_s >= li.SURELY_HEARD_S
            if not is_heard or alarm == NEVER_QUIET or not act.acknowledges(alarm):
                continue
            view = moment.alarms.get(alarm)
            goes_on = view is not None and view.is_sounding
            why = f"{alarm} sounds on, {act.asked_s - since_s:.0f} s after it rang"
            yield "l/acknowledged", why if goes_on else ""


class SoundTest:
    """q. A test sound is no siren."""

    def __init__(self) -> None:
        self._last_s = -math.inf

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if moment.kind == "restart":
            self._last_s = -math.inf  # nobody outside can restart it
        if "test" not in moment.sounds:
            return
        gap_s = moment.at_s - self._last_s
        self._last_s = moment.at_s
        why = f"{gap_s:.0f} s after the last"
        yield "q/test", why if gap_s < li.TEST_S else ""


class BumpTest:
    """q. A bump test keeps the phones from a danger neither for long nor often."""

    def __init__(self) -> None:
        self._begun_s: list[float] = []

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if "begun" in moment.bump_tests:
            since_s = max(moment.at_s - li.BUMPS_IN_S, oracle.started_s)
            recent = [at for at in self._begun_s if at > since_s]
            self._begun_s = [*recent, moment.at_s]
            beside = [
                alarm
                for alarm, view in moment.before.items()
                if view.is_active and view.priority >= MEDIUM
            ]
            why = f"it begins beside {beside}" if beside else ""
            if len(recent) >= li.BUMPS:
                why = f"{len(recent)} before it in an hour"
            if moment.act is not None and moment.act.by == "phone":
                why = "a phone began it"
            yield "q/bump", why
        elif oracle.bump_s is not None and moment.kind == "tick":
            for_s = moment.at_s - oracle.bump_s
            is_long = for_s >= li.BUMP_S
            yield "q/bump", f"it has run for {for_s:.0f} s" if is_long else ""


def compared(oracle: Oracle, moment: Moment) -> Checks:
    """h. and j. What the machine itself compared: snapshots, exceptions."""
    yield "j/exception", ""
    yield from moment.compared.items()


def at_the_end(moment: Moment) -> Checks:
    """f. After an hour of good air, acknowledged again and again, all is over."""
    left = [
        f"{alarm} {view.state} at {view.priority}"
        for alarm, view in moment.alarms.items()
        if view.priority > LOW
        and (view.is_active or view.is_sounding)
        and alarm != BLOOD_ALARM
    ]
    yield "f/endless", ", ".join(left)
    yield "f/sounds-on", moment.sound_of if wakes(moment.sound) else ""


def clauses() -> tuple[Clause, ...]:
    """Return the clauses of this file, with nothing remembered."""
    return (latched, put_aside, Outside(), Heard(), SoundTest(), BumpTest(), compared)
