"""Clauses on the air: comfort is true, danger sounds, blindness is reported."""

import math

from tests.invariants import limits as li
from tests.invariants.limits import CHATTER_S, LIMITS, Limit
from tests.invariants.moment import (
    HIGH,
    LOUDNESS,
    LOW,
    MEDIUM,
    SILENT_MODES,
    VITAL,
    Moment,
    PartView,
)
from tests.invariants.oracle import Acknowledgement, Checks, Clause, Oracle, wakes

GAS_ALARMS = ("o2-", "co-", "co2-", "gas-", "displaced-")
"""How the names of alarms about a gas begin."""
BLOOD_ALARM = "co-dose"
"""What a sleeper carries goes down for hours; its `low` says nothing of the air."""


def all_clear(oracle: Oracle, moment: Moment) -> Checks:
    """a. An all-clear is given only where it is true, and known to be."""
    is_given = any(message.alarm == "all-clear" for message in moment.messages)
    if not is_given or moment.is_loose:
        return
    yield "a/air", ", ".join(_bad_air(oracle, moment))
    active = [
        f"{alarm} {view.state}"
        for alarm, view in moment.alarms.items()
        if alarm.startswith(GAS_ALARMS)
        and (view.is_active or (view.is_aside and view.hidden))
        and not (alarm == BLOOD_ALARM and max(view.priority, view.hidden) <= LOW)
    ]
    yield "a/alarm-stands", ", ".join(active)
    yield "a/sounding", f"{moment.sound} goes on" if wakes(moment.sound) else ""
    yield "a/unseen", ", ".join(_unseen(moment))


def _bad_air(oracle: Oracle, moment: Moment) -> list[str]:
    """List what is bad, though an honest part of the quantity could know it."""
    honest = {part.quantity for part in moment.parts if part.mode == "alive"}
    return [
        f"{quantity} is {moment.true(quantity):.2f}"
        for quantity, since_s in oracle.bad_since_s.items()
        if quantity in honest and moment.at_s - since_s >= li.LAG_S
    ]


def _unseen(moment: Moment) -> list[str]:
    """List the vital quantities that no part was known to see for five minutes."""
    unseen = []
    for quantity in VITAL:
        parts = moment.parts_of(quantity)
        if parts and not any(_sees_surely(part, moment) for part in parts):
            unseen.append(f"{quantity} was seen by none ({_modes(parts, moment)})")
    return unseen


def _sees_surely(part: PartView, moment: Moment) -> bool:
    if part.is_silent:
        return moment.at_s - part.since_s < li.SILENT_S
    return part.mode != "doubtful" and not _is_still(part, li.STILL_S)


def _is_still(part: PartView, for_s: float) -> bool:
    """Return whether a part stands still where a living one would move."""
    if part.mode != "frozen" or part.still_s < for_s or part.is_full:
        return False
    rests = part.quantity == "co_ppm" and (part.value or 0.0) <= li.CO_REST_PPM
    return not rests


def _modes(parts: list[PartView], moment: Moment) -> str:
    return ", ".join(
        f"{part.name} {part.mode} for {moment.at_s - part.since_s:.0f} s"
        for part in parts
    )


def danger_sounds(oracle: Oracle, moment: Moment) -> Checks:
    """b. and l. Past a waking limit something sounds, unless acknowledged since."""
    if moment.kind in ("tick", "act", "source"):
        for limit in LIMITS:
            if oracle.is_due(limit, moment):
                yield from _sounds(oracle, moment, limit)


def _sounds(oracle: Oracle, moment: Moment, limit: Limit) -> Checks:
    if LOUDNESS[moment.sound] >= (3 if limit.priority == HIGH else 2):
        yield "b/rings", ""
        if oracle.chatters_s is not None:
            yield "b/chatter", ""
        return
    value = moment.true(limit.quantity)
    why = f"{limit.name} is passed ({value:.4g}), and {moment.sound} plays"
    view = moment.alarms.get(limit.guard)
    if moment.is_loose:
        yield "b/loose-config", why
    elif view is not None and view.is_aside:
        yield "b/put-aside", f"{why}: {limit.guard} is {view.state}"
    else:
        yield from _acknowledged(oracle, moment, limit, why)
        yield from _chatter(oracle, moment, limit, why)


def _acknowledged(oracle: Oracle, moment: Moment, limit: Limit, why: str) -> Checks:
    """Check that some acknowledgement concerns what rang, and is not used up."""
    acks = oracle.acknowledgements(limit.guard)
    quiet_s = limit.ack_s + moment.tick_s
    recent = [ack for ack in acks if moment.at_s - ack.at_s <= quiet_s]
    since_s = oracle.excursions[limit.name].near_s or 0.0
    errors = [_error(ack, limit, since_s) for ack in recent]
    if any(not clause for clause, _ in errors):
        yield "b/silence", ""
    elif errors:
        clause, how = errors[0]
        yield clause, f"{why}: acknowledged {how}"
    elif acks and acks[0].act.asked_s >= since_s:
        ago_s = moment.at_s - acks[0].at_s
        yield "b/silence", f"{why}, {ago_s:.0f} s after it was last acknowledged"
    else:
        yield "b/rings", f"{why}, and nobody has acknowledged it"


def _error(ack: Acknowledgement, limit: Limit, since_s: float) -> tuple[str, str]:
    """Return the clause by which it does not concern what rose; '' where it does."""
    asked_s = ack.act.asked_s
    if asked_s < since_s:
        clause = "l/late" if ack.at_s > since_s else "l/before"
        return clause, f"{since_s - asked_s:.0f} s before it rose"
    if limit.guard in ack.too_fresh:
        return "l/too-soon", "as it began to sound"
    return "", ""


def _chatter(oracle: Oracle, moment: Moment, limit: Limit, why: str) -> Checks:
    """Check the silence under a button that is pressed more often than by a person."""
    if oracle.chatters_s is None:
        return
    found_s = oracle.chatters_s
    is_given = any(
        ack.act.by != "button" or found_s - ack.at_s >= CHATTER_S
        for ack in oracle.acknowledgements(limit.guard)
        if moment.at_s - ack.at_s <= limit.ack_s + moment.tick_s
    )
    how = f"{why}, and only a button that has chattered since {found_s:.0f} s answered"
    yield "b/chatter", "" if is_given else how


SLOWEST = {
    "c/silent": li.SILENT_S,
    "c/frozen": li.FROZEN_S,
    "c/doubtful": li.DOUBTFUL_S,
}
"""How a part sees nothing, and when that is reported; the least obvious last."""


def blindness(oracle: Oracle, moment: Moment) -> Checks:
    """c. Where no living part sees a vital quantity, at least `medium` stands."""
    if moment.kind != "tick":
        return
    for quantity in VITAL:
        parts = moment.parts_of(quantity)
        clauses = [_blind(part) for part in parts]
        if not parts or not all(clauses):
            continue
        clause = max(clauses, key=list(SLOWEST).index)
        since_s = max(part.since_s for part in parts)
        if clause != "c/silent":  # what stood, or was in doubt, is in no snapshot
            since_s = max(since_s, oracle.started_s)
        due_s = since_s + SLOWEST[clause]
        start_due_s = oracle.started_s + li.START_S
        if clause == "c/silent" and start_due_s > due_s:
            clause = "c/silent-from-start"
        if moment.at_s < max(due_s, start_due_s) + moment.tick_s:
            continue
        why = f"{quantity} is unseen: {_modes(parts, moment)}"
        clause = "c/loose-config" if moment.is_loose else clause
        yield clause, "" if _is_medium(moment) else why


def _is_medium(moment: Moment) -> bool:
    """Return whether anything stands that is worth waking for, aside or not."""
    return any(
        (view.is_active and view.priority >= MEDIUM)
        or (view.is_aside and view.hidden >= MEDIUM)
        for view in moment.alarms.values()
    )


def _blind(part: PartView) -> str:
    """Return the clause by which a part sees nothing; '' where it may."""
    if part.is_silent:
        return "c/silent"
    if part.mode == "doubtful":
        return "c/doubtful"
    return "c/frozen" if _is_still(part, 0.0) else ""


class Blood:
    """e. The dose never falls in time that nobody measured.

    But for hours without power after air that was clean, and measured so, to the end
    (who lives clean for a day is not
    to be woken by the night before).  What a part that
    lies calls clean nobody can tell.
    """

    def __init__(self) -> None:
        self._last_ppm: dict[str, float] = {}
        """What each part gave last."""
        self._was_clean = False
        """At the last readings."""

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        clause = self._unmeasured(moment)
        if moment.kind == "tick":
            self._was_clean = self._is_clean(moment)
        if clause and moment.blood_before_pct >= li.MEASURABLE_PCT:
            was_pct, is_pct = moment.blood_before_pct, moment.blood_pct
            why = f"{was_pct:.3f} % became {is_pct:.3f} %"
            yield clause, why if is_pct < was_pct - 1e-6 else ""

    def _is_clean(self, moment: Moment) -> bool:
        parts = moment.parts_of("co_ppm")
        for part in parts:
            if part.value is not None:
                self._last_ppm[part.name] = part.value
        if any(part.mode in _LYING for part in parts):
            return True
        alive = [part.name for part in parts if part.mode == "alive"]
        last_ppm = [self._last_ppm.get(name, math.inf) for name in alive]
        return max(last_ppm, default=math.inf) < li.CLEAN_CO_PPM

    def _unmeasured(self, moment: Moment) -> str:
        """Return the clause by which nobody measured CO before this; '' or none."""
        parts = moment.parts_of("co_ppm")
        if moment.kind == "restart":
            return "" if self._was_clean else "e/down"
        if moment.kind != "tick" or not parts:
            return ""
        unused_s = moment.at_s - li.USED_S
        if all(part.is_silent and part.since_s < unused_s for part in parts):
            return "e/silent"
        return "e/doubtful" if all(part.mode == "doubtful" for part in parts) else ""


class NothingWrong:
    """m. What is well is not called ill: nobody, no part and no air."""

    def __init__(self) -> None:
        self._has_lied = False
        """Some part has read what was not so."""

    def __call__(self, oracle: Oracle, moment: Moment) -> Checks:
        """Check one event."""
        if moment.is_untouched:
            yield "m/nobody-woken", moment.sound_of if wakes(moment.sound) else ""
        for part in moment.parts:
            if part.is_full and part.mode == "alive" and part.still_s >= li.STILL_S:
                view = moment.alarms.get(f"sensor-stuck/{part.quantity}")
                is_called = view is not None and view.is_active
                why = f"{part.name} is called stuck at the end of its range"
                yield "m/end-of-range", why if is_called else ""
        yield from self._other_gas(moment)

    def _other_gas(self, moment: Moment) -> Checks:
        modes = {part.mode for part in moment.parts}
        self._has_lied = self._has_lied or not modes <= {*SILENT_MODES, *_HONEST}
        if self._has_lied or not moment.is_natural or moment.truth.gas_pct >= 0.05:
            return
        was, view = (v.get("displaced-air") for v in (moment.before, moment.alarms))
        is_raised = view is not None and view.is_active
        is_new = is_raised and not (was is not None and was.is_active)
        yield "m/no-other-gas", "reported though there is none" if is_new else ""


_HONEST = ("alive", "doubtful")
_LYING = ("frozen", "offset", "swapped")


def clauses() -> tuple[Clause, ...]:
    """Return the clauses of this file, with nothing remembered."""
    return (all_clear, danger_sounds, blindness, Blood(), NothingWrong())
