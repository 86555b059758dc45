"""What must be so of the true air, by published limits: written without the product.

The oracle sees the truth, what each part reads of it, and what the watch says; it keeps
its own book of both, and asks every clause after every event.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from tests.invariants.moment import HIGH, LOUD, MEDIUM, WAKING, Act, Moment

# --- limits, each with its source ---------------------------------------------------


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit that wakes people, and the alarm that guards it."""

    name: str
    quantity: str
    at: float
    is_below: bool
    weight: int
    delay_s: float
    ack_s: float
    """How long an answer may quiet it."""
    band: float
    """So far on the good side it is the same stand still."""
    guard: str
    source: str

    def is_past(self, value: float) -> bool:
        """Whether a value is at the limit or beyond."""
        return value <= self.at if self.is_below else value >= self.at

    def is_near(self, value: float) -> bool:
        """Whether a value is past the limit, or within the band before it."""
        if self.is_below:
            return value <= self.at + self.band
        return value >= self.at - self.band


# Delays, quiet times and bands are those that the packaged limits promise.
LIMITS = (
    Limit(
        *("o2 19.5", "o2_pct", 19.5, True, HIGH, 5.0, 300.0, 0.2, "o2-low"),
        source="oxygen-deficient atmosphere, 29 CFR 1910.146(b)",
    ),
    Limit(
        *("o2 18.0", "o2_pct", 18.0, True, HIGH, 5.0, 300.0, 0.2, "o2-low"),
        source="where an unvented heater's own guard acts, US CPSC 1980",
    ),
    Limit(
        *("co 70", "co_ppm", 70.0, False, MEDIUM, 0.0, 300.0, 5.0, "co-level"),
        source="UL 2034 begins here",
    ),
    Limit(
        *("co 200", "co_ppm", 200.0, False, HIGH, 0.0, 300.0, 5.0, "co-level"),
        source="NIOSH ceiling, never to be exceeded",
    ),
    Limit(
        *("co2 10000", "co2_ppm", 1e4, False, MEDIUM, 15.0, 900.0, 300.0, "co2-level"),
        source="NIOSH criteria document 1976, mean of a shift",
    ),
    Limit(
        *("co2 30000", "co2_ppm", 3e4, False, HIGH, 15.0, 900.0, 300.0, "co2-level"),
        source="NIOSH and ACGIH, 15 minutes at most",
    ),
)
GOOD_O2_PCT = 19.5
"""29 CFR 1910.146(b)."""
GOOD_CO_PPM = 30.0
"""EN 50291-1:2018 begins here."""
GOOD_CO2_PPM = 10_000.0
"""The first that wakes."""
ERROR = {"o2_pct": 0.1, "co_ppm": 3.0, "co2_ppm": 300.0}
"""What noise and lag of an honest part leave between it and the air, at the end of five
good minutes: three lags of the slowest part (own choice)."""

# --- times that the watch is to be held to (README is to say the same) ----------------

SILENT_TOLD_S = 60.0
"""A vital quantity that nobody gives: told as `medium` within this."""
FROZEN_TOLD_S = 900.0
"""... that stands still away from zero."""
DOUBTFUL_TOLD_S = 900.0
"""... that only parts outside their range, or warming up, give."""
STILL_S = 300.0
"""No all-clear on a value that has not moved in all of its five quiet minutes."""
CO_REST_PPM = 3.0
"""Carbon monoxide may rest at its zero for days; above this it moves."""
START_S = 300.0
"""From a start or a reload until a part that has not spoken yet is told: a part that
warms up gives doubtful values at once, so it need not be waited for (own choice)."""
HEARD_S = 0.5
"""Nobody hears a sound, wakes and presses within this (a startled press takes longer
than a simple reaction of 0.2 s; common practice)."""
RETOLD_S = 900.0
ESCALATE_S = 300.0
"""Unanswered for so long, the second phone is told."""
TEXTS_S, TEXTS = 600.0, 3
CHATTER_S, CHATTER = 60.0, 6
"""More answers than this within a minute are no person's (own choice)."""


@dataclass(frozen=True, slots=True)
class Violation:
    """Something that must not be, and was."""

    clause: str
    at_s: float
    why: str


@dataclass(slots=True)
class Spell:
    """What the oracle knows of one limit: since when it is past, and who answered."""

    near_s: float | None = None
    """Since when some part has read near it, without a break."""
    past_s: float | None = None
    """Since when two readings in a row have been past it, as the truth was."""
    agree: dict[str, int] = field(default_factory=dict)
    worst_true: float = math.nan


@dataclass(slots=True)
class Answer:
    """An acknowledgement that came through the gates."""

    act: Act
    at_s: float
    too_fresh: frozenset[str]
    """Alarms that had begun to sound too shortly before."""

    def is_for(self, guard: str) -> bool:
        """Whether it names this alarm, or all."""
        return self.act.alarm in ("", guard)


Clause = Callable[["Oracle", Moment], Iterator[tuple[str, str]]]
"""Yields (clause, '') for a check that is well, (clause, why) for one that is not."""


@dataclass(slots=True)
class Book:
    """What is remembered between two events."""

    spells: dict[str, Spell] = field(
        default_factory=lambda: {one.name: Spell() for one in LIMITS}
    )
    answers: list[Answer] = field(default_factory=list)
    sounding_s: dict[str, float] = field(default_factory=dict)
    """Since when each alarm has sounded."""
    has_lied: bool = False
    """Some part has read what was not so."""
    chatters_s: float | None = None
    """Since when the button has answered more often than a person does."""
    started_s: float = 0.0
    """Of the present run or config."""


class Oracle:
    """Judges a course of events, moment by moment."""

    def __init__(self, clauses: tuple[Clause, ...]) -> None:
        """Begin with nothing known."""
        self.book = Book()
        self.checks: Counter[str] = Counter()
        self.violations: list[Violation] = []
        self._clauses = clauses

    def watch(self, moment: Moment) -> None:
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

    def _note(self, moment: Moment) -> None:
        book = self.book
        if moment.kind in ("restart", "reload"):
            book.started_s = moment.at_s
            for spell in book.spells.values():
                spell.past_s = None
                spell.agree.clear()
        if moment.kind == "tick":
            for limit in LIMITS:
                self._spell(limit, moment)
        self._note_sounds(moment)

    def _note_sounds(self, moment: Moment) -> None:
        book, at_s = self.book, moment.at_s
        act = moment.act
        is_answer = act is not None and act.verb in ("acknowledge", "reset")
        if act is not None and is_answer:
            fresh = {
                alarm
                for alarm, since_s in book.sounding_s.items()
                if act.asked_s - since_s < HEARD_S
            }
            book.answers.append(Answer(act, at_s, frozenset(fresh)))
            del book.answers[:-40]
        self._note_chatter(at_s)
        sounding = {alarm for alarm, view in moment.alarms.items() if view.sounds}
        for alarm in book.sounding_s.keys() - sounding:
            del book.sounding_s[alarm]
        for alarm in sounding:
            if alarm not in book.sounding_s:
                book.sounding_s[alarm] = at_s

    def _note_chatter(self, at_s: float) -> None:
        book = self.book
        presses = sum(
            one.act.by == "button" and at_s - one.at_s <= CHATTER_S
            for one in book.answers
        )
        if presses <= CHATTER:
            book.chatters_s = None
        elif book.chatters_s is None:
            book.chatters_s = at_s

    def _spell(self, limit: Limit, moment: Moment) -> None:
        """Follow how long parts have seen a limit passed that is truly passed."""
        spell = self.book.spells[limit.name]
        is_near, is_past = False, False
        for part in moment.parts:
            if part.quantity != limit.quantity:
                continue
            if part.value is None:
                is_silent = part.mode in ("silent", "reported")
                is_near = is_near or (not is_silent and spell.near_s is not None)
                is_past = is_past or (not is_silent and spell.past_s is not None)
                continue
            is_near = is_near or limit.is_near(part.value)
            sees = part.is_honest and limit.is_past(part.value)
            agree = spell.agree[part.name] = (
                spell.agree.get(part.name, 0) + 1 if sees else 0
            )
            is_past = is_past or agree >= 2
        true = getattr(moment.truth, limit.quantity)
        is_past = is_past and limit.is_past(true)
        if not is_near:
            spell.near_s = None
        elif spell.near_s is None:
            spell.near_s = moment.at_s
        if not is_past:
            spell.past_s = None
        elif spell.past_s is None:
            spell.past_s = moment.at_s

    def is_due(self, limit: Limit, moment: Moment) -> bool:
        """Say whether something must sound for a limit by now."""
        past_s = self.book.spells[limit.name].past_s
        if past_s is None:
            return False
        return moment.at_s - past_s >= limit.delay_s + moment.tick_s

    def answers(self, guard: str) -> list[Answer]:
        """Return the answers that name an alarm, or all, the last one first."""
        return [one for one in reversed(self.book.answers) if one.is_for(guard)]


def wakes(sound: str) -> bool:
    """Say whether a sound wakes people."""
    return LOUD.get(sound, 0) >= WAKING
