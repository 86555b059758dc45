"""Judges a course by the true air and by published limits, without the product.

The oracle sees the truth, what each part reads of it, and what the monitor says; it
keeps its own book of both, and asks every clause after every event.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from tests.invariants.limits import (
    CHATTER,
    CHATTER_S,
    CO2_QUARTER_PPM,
    CO2_QUARTER_S,
    CO_HOURS_PPM,
    CO_HOURS_S,
    ERROR,
    GOOD_CO2_PPM,
    GOOD_CO_PPM,
    GOOD_O2_PCT,
    HEARD_S,
    LIMITS,
    Limit,
)
from tests.invariants.moment import LOUDNESS, WAKING, Act, Moment, PartView

ACKNOWLEDGEMENTS_KEPT = 400
"""More than a chattering button gives in the time that one may quiet."""
NEAR_HOURS_PPM = 0.85 * CO_HOURS_PPM
NEAR_QUARTER_PPM = 0.85 * CO2_QUARTER_PPM
"""An alarm about hours that stands is the same one still (own choice)."""
AGREEING = 2
"""A limit counts as seen when so many readings in a row are past it: one alone may be
noise, and is not believed where it jumps."""


@dataclass(frozen=True, slots=True)
class Violation:
    """Something that must not be, and was."""

    clause: str
    at_s: float
    why: str


@dataclass(slots=True)
class Excursion:
    """How one limit is passed: by what parts read, and in truth."""

    near_s: float | None = None
    """Since when some part has read near it, without a break."""
    past_s: float | None = None
    """Since when honest parts have read past it, and the air was."""
    in_a_row: dict[str, int] = field(default_factory=dict)
    """Readings past it, by part."""


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """One that came through the gates."""

    act: Act
    at_s: float
    too_fresh: frozenset[str]
    """Alarms that had begun to sound too shortly before."""


Checks = Iterator[tuple[str, str]]
Clause = Callable[["Oracle", Moment], Checks]
"""Yields (clause, '') for a check that is well, (clause, why) for one that is not."""


class Oracle:
    """Judges a course of events, moment by moment."""

    def __init__(self, clauses: tuple[Clause, ...]) -> None:
        """Begin with nothing known."""
        self.checks: Counter[str] = Counter()
        self.violations: list[Violation] = []
        self.excursions = {limit.name: Excursion() for limit in LIMITS}
        self.started_s = 0.0
        """When the present run or config began."""
        self.chatters_s: float | None = None
        """Since when the button is pressed more often than a person does."""
        self.bump_s: float | None = None
        """Since when a bump test runs: no phone is told."""
        self.bump_ended_s = float("-inf")
        self._co: list[tuple[float, float, float]] = []
        """Of carbon monoxide: when, ppm, and for how many seconds."""
        self._co_hours_ppm = 0.0
        self._co2: list[tuple[float, float, float]] = []
        self._co2_quarter_ppm = 0.0
        self.bad_since_s: dict[str, float] = {}
        """Since when the air has been bad for an all-clear, by quantity."""
        self._acknowledgements: list[Acknowledgement] = []
        self._sounding_s: dict[str, float] = {}
        """Since when each alarm has sounded."""
        self._clauses = clauses

    def judge(self, moment: Moment) -> None:
        """Take one event, and ask every clause."""
        self._note(moment)
        for clause in self._clauses:
            for name, why in clause(self, moment):
                self.check(name, why, moment.at_s)

    def check(self, clause: str, why: str, at_s: float) -> None:
        """Count a check; `why` says what is wrong, '' that it is well."""
        self.checks[clause] += 1
        if why:
            self.violations.append(Violation(clause, at_s, why))

    def is_due(self, limit: Limit, moment: Moment) -> bool:
        """Return whether something must sound for a limit by now."""
        past_s = self.excursions[limit.name].past_s
        if past_s is None or not limit.is_past(moment.true(limit.quantity)):
            return False
        return moment.at_s - past_s >= limit.delay_s + moment.tick_s

    def acknowledgements(self, guard: str) -> list[Acknowledgement]:
        """Return those that name an alarm, or all, the last one first."""
        latest_first = reversed(self._acknowledgements)
        return [ack for ack in latest_first if ack.act.acknowledges(guard)]

    # --- the book -----------------------------------------------------------------

    def _note(self, moment: Moment) -> None:
        self._note_bump_test(moment)
        if moment.kind in ("restart", "reload"):
            self.started_s = moment.at_s
            for excursion in self.excursions.values():
                excursion.past_s = None
                excursion.in_a_row.clear()
        self._note_turns(moment)
        if moment.kind == "tick":
            self._note_co_hours(moment)
            self._note_co2_quarter(moment)
            for limit in LIMITS:
                self._note_excursion(limit, moment)
        if moment.act is not None and moment.act.acknowledges(moment.act.alarm):
            self._note_acknowledgement(moment.act, moment.at_s)
        self._note_chatter(moment.at_s)
        if moment.alarms is not moment.before:
            self._note_sounds(moment)

    def _note_excursion(self, limit: Limit, moment: Moment) -> None:
        """Follow how long parts have seen a limit passed that is truly passed."""
        excursion = self.excursions[limit.name]
        parts = moment.parts_of(limit.quantity)
        given = [part for part in parts if part.value is not None]
        readings = [part.value for part in given if part.value is not None]
        waits = any(part.value is None and not part.is_silent for part in parts)
        is_for_hours = (
            limit.name == "CO 70 ppm" and self._co_hours_ppm >= NEAR_HOURS_PPM
        ) or (limit.name == "CO2 3 %" and self._co2_quarter_ppm >= NEAR_QUARTER_PPM)
        if is_for_hours or any(limit.is_near(value) for value in readings):
            if excursion.near_s is None:
                excursion.near_s = moment.at_s
        elif any(part.mode != "doubtful" for part in given) and not waits:
            excursion.near_s = None  # silence and doubt make no air good
        is_past = [_sees(part, limit, excursion) for part in parts]
        if not any(is_past) or not limit.is_past(moment.true(limit.quantity)):
            excursion.past_s = None
        elif excursion.past_s is None:
            excursion.past_s = moment.at_s

    def _note_co_hours(self, moment: Moment) -> None:
        """Note the mean of carbon monoxide over four hours, none before the first.

        While the monitor is down nobody knows it: the mean of what is known stands in.
        """
        given = [p.value for p in moment.parts_of("co_ppm") if p.value is not None]
        if given:
            self._co.append((moment.at_s, max(given), moment.tick_s))
        since_s = moment.at_s - CO_HOURS_S
        self._co = [one for one in self._co if one[0] > since_s]
        known_s = math.fsum(tick_s for _, _, tick_s in self._co)
        if known_s:
            dose = math.fsum(ppm * tick_s for _, ppm, tick_s in self._co)
            span_s = moment.at_s - self._co[0][0] + self._co[0][2]
            self._co_hours_ppm = dose / known_s * span_s / CO_HOURS_S

    def _note_co2_quarter(self, moment: Moment) -> None:
        """Note the mean of carbon dioxide over a quarter of an hour, fresh before."""
        given = [p.value for p in moment.parts_of("co2_ppm") if p.value is not None]
        if given:
            self._co2.append((moment.at_s, max(given), moment.tick_s))
        since_s = moment.at_s - CO2_QUARTER_S
        self._co2 = [one for one in self._co2 if one[0] > since_s]
        dose = math.fsum(ppm * tick_s for _, ppm, tick_s in self._co2)
        known_s = math.fsum(tick_s for _, _, tick_s in self._co2)
        rest_s = max(0.0, CO2_QUARTER_S - known_s)
        self._co2_quarter_ppm = (dose + 425.0 * rest_s) / (known_s + rest_s)

    def _note_turns(self, moment: Moment) -> None:
        """Note since when the air has been bad for the all-clear."""
        truth = moment.truth
        is_bad = {
            "o2_pct": truth.o2_pct < GOOD_O2_PCT - ERROR["o2_pct"],
            "co_ppm": truth.co_ppm >= GOOD_CO_PPM + ERROR["co_ppm"],
            "co2_ppm": truth.co2_ppm >= GOOD_CO2_PPM + ERROR["co2_ppm"],
        }
        self.bad_since_s = {
            quantity: self.bad_since_s.get(quantity, moment.at_s)
            for quantity, bad in is_bad.items()
            if bad
        }

    def _note_acknowledgement(self, act: Act, at_s: float) -> None:
        too_fresh = frozenset(
            alarm
            for alarm, since_s in self._sounding_s.items()
            if act.asked_s - since_s < HEARD_S
        )
        self._acknowledgements.append(Acknowledgement(act, at_s, too_fresh))
        del self._acknowledgements[:-ACKNOWLEDGEMENTS_KEPT]

    def _note_chatter(self, at_s: float) -> None:
        presses = sum(
            ack.act.by == "button"
            and at_s - ack.at_s < CHATTER_S
            and ack.at_s > self.started_s
            for ack in self._acknowledgements
        )
        if presses <= CHATTER:
            self.chatters_s = None
        elif self.chatters_s is None:
            self.chatters_s = at_s

    def _note_bump_test(self, moment: Moment) -> None:
        was_on = self.bump_s is not None
        for word in moment.bump_tests:
            self.bump_s = moment.at_s if word == "begun" else None
        if moment.kind == "restart":
            self.bump_s = None
        if was_on and self.bump_s is None:
            self.bump_ended_s = moment.at_s

    def _note_sounds(self, moment: Moment) -> None:
        since_s = self._sounding_s
        self._sounding_s = {
            alarm: since_s.get(alarm, moment.at_s)
            for alarm, view in moment.alarms.items()
            if view.is_sounding
        }


def _sees(part: PartView, limit: Limit, excursion: Excursion) -> bool:
    """Return whether a part sees a limit passed, by its last readings."""
    count = excursion.in_a_row.get(part.name, 0)
    if part.value is None:
        return count >= AGREEING and not part.is_silent
    is_past = part.is_honest and limit.is_past(part.value)
    count = excursion.in_a_row[part.name] = count + 1 if is_past else 0
    return count >= AGREEING


def wakes(sound: str) -> bool:
    """Return whether a sound wakes people."""
    return LOUDNESS.get(sound, 0) >= WAKING
