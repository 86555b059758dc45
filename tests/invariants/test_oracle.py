"""The oracle sees what is wrong: what the monitor says is falsified on its way to it.

For the clauses that hold today; the others show it by their own courses.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.invariants.clauses import CLAUSES
from tests.invariants.counterexamples import COURSES
from tests.invariants.course import Course, PartTurns, Press, Step, Turn, Wait
from tests.invariants.machine import Machine
from tests.invariants.moment import Act, Moment
from tests.invariants.short_courses import BUMP

Falsify = Callable[[Moment], Moment]
POISON = (Turn("changes_per_h", 0.2), Turn("co_ppm", 400.0), Wait(6))
SILENT = (PartTurns("bunk-co", "silent"), Wait(20))


def _quiet(moment: Moment) -> Moment:
    return replace(moment, sound="quiet")


def _no_alarms(moment: Moment) -> Moment:
    return replace(moment, alarms={}) if moment.at_s > 70.0 else moment


def _dose_falls(moment: Moment) -> Moment:
    return replace(moment, blood_before_pct=2.0, blood_pct=1.9)


def _quiet_for_good(moment: Moment) -> Moment:
    return replace(moment, sound="quiet" if moment.at_s > 61.0 else moment.sound)


FALSE: dict[str, tuple[tuple[Step, ...], Falsify]] = {
    "b/rings": (POISON, _quiet),
    "b/silence": ((*POISON, Press(), Wait(40)), _quiet_for_good),
    "c/silent": (
        (Wait(40), PartTurns("bunk-co", "silent"), Wait(20)),
        _no_alarms,
    ),
    "d/second": (
        (*POISON, Wait(40)),
        lambda moment: replace(
            moment, messages=tuple(m for m in moment.messages if m.phone == "phone")
        ),
    ),
    "e/silent": (SILENT, _dose_falls),
    "f/by-time": ((*POISON, Wait(6)), _no_alarms),
    "k/lower": (
        POISON,
        lambda moment: replace(moment, sound="chirp"),
    ),
    "k/test": (
        (*POISON, Wait(6)),
        lambda moment: replace(moment, sounds=("test",)),
    ),
    "q/bump": (
        (BUMP, Wait(40)),
        lambda moment: replace(
            moment, bump_tests=tuple(one for one in moment.bump_tests if one == "begun")
        ),
    ),
    "l/acknowledged": (
        (Turn("o2_dry_pct", 17.5), Wait(6), Press()),
        lambda moment: (
            moment if moment.act is None else replace(moment, alarms=moment.before)
        ),
    ),
    "o/transitions": (POISON, lambda moment: replace(moment, moves=())),
    "p/cause": (POISON, lambda moment: replace(moment, sound_of="nobody")),
}
ELSEWHERE = {
    "f/sounds-on": "at_the_end reads the sound",
    "h/softer": "the machine compares",
    "h/replay": "the machine compares",
    "j/exception": "the machine catches",
}


@pytest.mark.parametrize("clause", sorted(FALSE))
def test_what_is_false_is_seen(clause: str) -> None:
    """Each clause that holds breaks where the monitor would fail."""
    steps, falsify = FALSE[clause]

    machine = Machine(Course("two-gases", steps), falsify=falsify)
    broken = {violation.clause for violation in machine.play().violations}
    assert clause in broken


def test_every_clause_can_break() -> None:
    """By a falsified course, by a course that broke it, or for a reason given."""
    assert not set(CLAUSES) - set(FALSE) - set(COURSES) - set(ELSEWHERE)


def test_an_acknowledgement_names_one_alarm_or_all() -> None:
    """A mark is none."""
    assert Act("acknowledge", "", "button", 0.0).acknowledges("co-level")
    assert Act("reset", "co-level", "phone", 0.0).acknowledges("co-level")
    assert not Act("acknowledge", "o2-low", "phone", 0.0).acknowledges("co-level")
    assert not Act("mark", "", "phone", 0.0).acknowledges("co-level")
