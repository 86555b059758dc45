"""Many courses, and what they came to: `python -m tests.invariants [--examples N]`.

Prints how often each clause was asked and how many courses broke it, then for each
broken clause the first course, shrunk.  Exit code 1 where a clause broke.
"""

import argparse
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from functools import partial

from tests.invariants.clauses import CLAUSES
from tests.invariants.course import Course
from tests.invariants.machine import play
from tests.invariants.oracle import Violation
from tests.invariants.shrink import shrink
from tests.invariants.strategies import draw


@dataclass
class Tally:
    """What many courses came to."""

    checks: Counter[str] = field(default_factory=Counter)
    broken: Counter[str] = field(default_factory=Counter)
    first: dict[str, Course] = field(default_factory=dict)
    ticks: int = 0

    def add(self, course: Course) -> None:
        """Play one course."""
        outcome = play(course)
        self.checks.update(outcome.checks)
        self.ticks += outcome.ticks
        for clause in sorted({breach.clause for breach in outcome.violations}):
            self.broken[clause] += 1
            self.first.setdefault(clause, course)


AT_ONCE = 500
"""Courses of one drawing: hypothesis remembers each, and memory stays bounded."""


def run(examples: int, number: int) -> Tally:
    """Play so many courses, drawn by hypothesis from this seed."""
    tally = Tally()
    for begin in range(0, examples, AT_ONCE):
        draw(tally.add, min(AT_ONCE, examples - begin), f"{number} {begin}")
        drawn = min(begin + AT_ONCE, examples)
        print(f"\r{drawn} drawn ", end="", file=sys.stderr, flush=True)
    print("\r", end="", file=sys.stderr)
    return tally


def first_breach(course: Course, clause: str) -> Violation | None:
    """Return the first violation of a clause in a course; None where it holds."""
    for violation in play(course).violations:
        if violation.clause == clause:
            return violation
    return None


def show(tally: Tally, clauses: list[str]) -> None:
    """Print the table, and the shrunk courses."""
    print(f"{'clause':<22}{'asked':>10}{'broken by':>11}")
    for clause in clauses:
        asked, broken = tally.checks[clause], tally.broken[clause]
        print(f"{clause:<22}{asked:>10}{broken:>11}")
    for clause, course in sorted(tally.first.items()):
        shortest = shrink(course, partial(_breaks, clause))
        violation = first_breach(shortest, clause)
        print(f"\n{clause}: {CLAUSES.get(clause, '')}\n{shortest}")
        if violation is not None:
            print(f"  -> at {violation.at_s:g} s: {violation.why}")


def _breaks(clause: str, course: Course) -> bool:
    return first_breach(course, clause) is not None


def main() -> int:
    """Run, and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.invariants")
    parser.add_argument("--examples", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--no-shrink", action="store_true")
    words = parser.parse_args()
    began_s = time.process_time()
    tally = run(words.examples, words.seed)
    took_s = time.process_time() - began_s
    count = words.examples
    print(f"{count} courses, {tally.ticks} readings, {took_s:.0f} s of processor time")
    print(f"({count / took_s:.0f} courses a second)\n")
    if words.no_shrink:
        tally.first.clear()
    show(tally, sorted({*CLAUSES, *tally.checks, *tally.broken}))
    return int(bool(tally.broken))


if __name__ == "__main__":
    sys.exit(main())
