"""Clauses on what people do: it ends alarms, and hides no danger."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from tests.invariants import oracle as o
from tests.invariants.air_clauses import GAS_ALARMS
from tests.invariants.moment import HIGH, LOW, MEDIUM, Moment
from tests.invariants.oracle import LIMITS, Oracle, wakes

Checks = Iterator[tuple[str, str]]
OUTSIDE = ("phone", "socket")
TEST_S = 600.0
"""A test sound at most so often (own choice)."""


def latched(oracle: Oracle, moment: Moment) -> Checks:
    """f. What is latched at `high` is ended by a person, and not by time."""
    if moment.alarms is moment.before:
        return
    for alarm, view in moment.before.items():
        if not (view.sounds and view.priority >= HIGH):
            continue
        now = moment.alarms.get(alarm)
        if now is not None and now.sounds and now.priority >= HIGH:
            yield "f/by-time", ""
        elif moment.kind != "act":
            state = "normal" if now is None else f"{now.state} at {now.priority}"
            yield "f/by-time", f"{alarm} went from {view.state} to {state}"


def shelved(oracle: Oracle, moment: Moment) -> Checks:
    """i. From outside, only faults and lows are put aside."""
    act = moment.act
    if act is None or act.by not in OUTSIDE or act.verb not in _ASIDE:
        return
    for alarm, view in moment.alarms.items():
        was = moment.before.get(alarm)
        if not view.is_aside or view.state == "suppressed":
            continue
        if was is not None and was.is_aside:
            continue
        stood = was.priority if was is not None and was.stands else 0
        why = f"{alarm} put aside from outside"
        yield "i/shelved", f"{why}, at {stood}" if stood >= MEDIUM else ""
        yield "i/beforehand", f"{why}, which may wake" if _may_wake(alarm) else ""


_ASIDE = ("shelve", "out-of-service")


def _may_wake(alarm: str) -> bool:
    vital = ("sensor-stale/o2_pct", "sensor-stale/co_ppm")
    return alarm.startswith((*GAS_ALARMS, *vital, "hot"))


@dataclass(slots=True)
class _Quieted:
    by_outside: int = 0
    value: float = math.nan
    priority: int = 0


_ONE_EACH = tuple({limit.guard: limit for limit in LIMITS}.values())


class Outside:
    """i. An answer from outside quiets a stand once, and puts nothing off."""

    def __init__(self) -> None:
        self._quieted: dict[str, _Quieted] = {}
        self._second_s = -math.inf
        self._hand_s = -math.inf

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Judge one event."""
        if any(text.phone == "second" for text in moment.texts):
            self._second_s = moment.at_s
        act = moment.act
        if act is not None and act.by == "button":
            self._hand_s = moment.at_s
            self._quieted.clear()
        if act is not None and act.by in OUTSIDE:
            yield from self._answered(moment)
        for alarm in list(self._quieted):
            view = moment.alarms.get(alarm)
            if view is None or not (view.stands or view.sounds):
                del self._quieted[alarm]
        if moment.kind == "tick":
            yield from self._put_off(oracle, moment)

    def _answered(self, moment: Moment) -> Checks:
        for limit in _ONE_EACH:
            was, now = (v.get(limit.guard) for v in (moment.before, moment.alarms))
            if was is None or now is None or not was.sounds or now.sounds:
                continue
            if was.priority < MEDIUM or now.is_aside:
                continue
            value = getattr(moment.truth, limit.quantity)
            known = self._quieted.setdefault(limit.guard, _Quieted(0, value))
            step = {"o2_pct": 0.4, "co_ppm": 40.0, "co2_ppm": 4000.0}[limit.quantity]
            worse = abs(value - known.value) >= step or was.priority > known.priority
            if known.by_outside and not worse:
                yield "i/again", f"{limit.guard} is quieted again from outside"
            else:
                yield "i/again", ""
                known.by_outside, known.value = 1, value
                known.priority = was.priority

    def _put_off(self, oracle: Oracle, moment: Moment) -> Checks:
        """Answers from outside alone never keep the second phone from its turn."""
        for limit in LIMITS:
            past_s = oracle.book.spells[limit.name].past_s
            if limit.weight < HIGH or past_s is None or self._hand_s >= past_s:
                continue
            if not any(one.at_s >= past_s for one in oracle.answers(limit.guard)):
                continue
            due_s = past_s + o.ESCALATE_S + limit.ack_s + limit.delay_s
            if moment.at_s < due_s + 3 * moment.tick_s:
                continue
            if moment.is_loose:
                continue
            known = moment.alarms.get(limit.guard)
            if known is not None and known.is_aside:
                continue
            told = self._second_s >= past_s - o.ESCALATE_S
            age_s = moment.at_s - past_s
            why = f"{limit.name} for {age_s:.0f} s, and the second phone knows nothing"
            yield "i/put-off", "" if told else why


class Tests:
    """q. A test sound is no siren."""

    def __init__(self) -> None:
        self._last_s = -math.inf

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Judge one event."""
        if "test" not in moment.sounds:
            return
        gap_s = moment.at_s - self._last_s
        self._last_s = moment.at_s
        yield "q/test", f"{gap_s:.0f} s after the last" if gap_s < TEST_S else ""


def machine_compared(oracle: Oracle, moment: Moment) -> Checks:
    """h. and j. What the machine itself compared: replays, snapshots, exceptions."""
    yield "j/exception", ""
    yield from moment.extra.items()


def at_the_end(moment: Moment) -> Checks:
    """f. After an hour of good air and answers, nothing rings and no danger stands."""
    left = [
        f"{alarm} {view.state} at {view.priority}"
        for alarm, view in moment.alarms.items()
        if view.priority > LOW and (view.stands or view.sounds) and alarm != "co-dose"
    ]
    yield "f/endless", ", ".join(left)
    yield "f/sounds-on", moment.sound_of if wakes(moment.sound) else ""


def clauses() -> tuple[object, ...]:
    """Return the clauses of this file, with nothing remembered."""
    return (latched, shelved, Outside(), Tests(), machine_compared)
