"""What must be so whatever happens: a seeded share of `python -m tests.invariants`."""

import ast
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from tests.invariants.clauses import CLAUSES
from tests.invariants.counterexamples import COURSES
from tests.invariants.course import Course
from tests.invariants.machine import play
from tests.invariants.strategies import courses

INDEPENDENT = (
    *("air", "parts", "scene", "course", "moment", "limits", "oracle"),
    *("air_clauses", "message_clauses", "act_clauses"),
)
"""Files that must not know the product whose judge they are."""


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(courses())
def test_no_course_breaks_a_clause(course: Course) -> None:
    """Of those that the suite draws."""
    broken = play(course).violations
    assert not broken, f"{broken[0]}\n{course}"


@pytest.mark.parametrize("clause", sorted(COURSES))
def test_what_broke_it_once_breaks_it_no_more(clause: str) -> None:
    """The shortest courses that were found."""
    for course in COURSES[clause]:
        broken = [v for v in play(course).violations if v.clause == clause]
        assert not broken, f"{broken[0]}\n{course}"


def test_every_clause_is_known_and_asked() -> None:
    """No mistyped name hides a clause."""
    asked: Counter[str] = Counter()
    for known in COURSES.values():
        for course in known:
            asked += play(course).checks
    assert set(asked) <= set(CLAUSES)
    assert set(COURSES) <= set(CLAUSES)
    # These take more than one short course; the long run counts them.
    rare = {"c/silent"}
    # These are asked only where something went wrong: of a monitor that holds, never.
    # Each broke in its course when the course was found.
    rare |= {"b/loose-config", "b/put-aside", "c/loose-config", "i/beforehand"}
    rare |= {"i/shelved", "j/trend", "l/before", "l/late", "l/too-soon"}
    assert set(CLAUSES) - set(asked) <= rare


@pytest.mark.parametrize("name", INDEPENDENT)
def test_the_oracle_knows_nothing_of_the_product(name: str) -> None:
    """It would else call right what the product does."""
    tree = ast.parse((Path(__file__).parent / f"{name}.py").read_text("utf-8"))
    named = [n.module or "" for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)]
    named += [
        a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names
    ]
    assert not [one for one in named if one.startswith("cabinvigil")]
