"""Plant mistakes in a copy of the product, and see whether the oracle notices each.

Usage: python -m tests.invariants.mutants [CLAUSE...] [--draws 60]

The mistakes are in `mutants.toml`: one text of a file becomes another, and the clause
beside it must break.  First the stored courses of that clause are played, then all
others, then courses that are drawn anew.  Exit code 1 where one survived, or where an
invariant, all the clauses of one letter, has killed fewer than two.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.invariants.counterexamples import COURSES
from tests.invariants.course import Course
from tests.invariants.machine import play
from tests.invariants.strategies import draw
from tests.tools.mutants import copy_tracked

LIST = Path(__file__).with_name("mutants.toml")
COPIED = ("daemon", "drivers", "config", "tests/invariants", "tests/tools")
LEAST = 2
"""Killed mutants that each invariant must have."""
MOST_S = 300.0
"""A mutant that runs on for so long has hung, which no clause has noticed."""


@dataclass(frozen=True, slots=True)
class PlantedMutant:
    """One text of one file that becomes another, and the clause that must notice."""

    clause: str
    file: str
    was: str
    becomes: str

    def source(self, root: Path) -> str:
        """Return the file with the mistake in it.

        Raises:
            ValueError: the text that is to be replaced does not stand there once.
        """
        text = (root / self.file).read_text("utf-8")
        if text.count(self.was) != 1:
            times = text.count(self.was)
            raise ValueError(f"{self.file}: {self.was!r} stands there {times} times")
        return text.replace(self.was, self.becomes)


def planted() -> list[PlantedMutant]:
    """Read the list."""
    entries = tomllib.loads(LIST.read_text("utf-8"))["mutant"]
    return [PlantedMutant(**entry) for entry in entries]


class Workshop:
    """A copy of the product, in which one mistake after the other is tried."""

    def __init__(self, folder: Path, *, draws: int) -> None:
        """Copy what git tracks, and load it once, so that it is compiled.

        Raises:
            RuntimeError: it does not run as it stands.
        """
        self._folder, self._draws = folder, draws
        copy_tracked(folder, *COPIED)
        self._play("", writes=True)

    def killer(self, mutant: PlantedMutant) -> str:
        """Return what breaks the mutant's clause; '' where nothing does.

        Raises:
            ValueError: the mistake cannot be planted.
            RuntimeError: the mutant does not run at all: nobody has noticed anything.
        """
        file = self._folder / mutant.file
        sound = file.read_text("utf-8")
        file.write_text(mutant.source(self._folder), "utf-8")
        # What was compiled is told by its size and second, which may be the same.
        for compiled in (file.parent / "__pycache__").glob(f"{file.stem}.*.pyc"):
            compiled.unlink()
        try:
            return self._play(mutant.clause, writes=False)
        finally:
            file.write_text(sound, "utf-8")

    def _play(self, clause: str, *, writes: bool) -> str:
        words = ["--play", clause, "--draws", str(self._draws)]
        environment = {**os.environ, "PYTHONPATH": str(self._folder / "names")}
        if not writes:
            environment["PYTHONDONTWRITEBYTECODE"] = "1"
        ended = subprocess.run(
            [sys.executable, "-m", "tests.invariants.mutants", *words],
            cwd=self._folder,
            env=environment,
            capture_output=True,
            text=True,
            timeout=MOST_S,
            check=False,
        )
        if ended.returncode:
            raise RuntimeError(ended.stderr.strip().rpartition("\n")[2])
        return ended.stdout.strip()


def first_breaking(clause: str, draws: int) -> str:
    """Return the name of the first course here that breaks a clause; '' for none."""
    for name, course in _candidates(clause, draws):
        if any(violation.clause == clause for violation in play(course).violations):
            return name
    return ""


def _loaded() -> str:
    """Play a course, for all that it loads."""
    play(COURSES["a/air"][0])
    return ""


def _candidates(clause: str, draws: int) -> Iterator[tuple[str, Course]]:
    for number, course in enumerate(COURSES.get(clause, ()), 1):
        yield f"its course {number}", course
    for other, stored in COURSES.items():
        for number, course in enumerate(stored if other != clause else (), 1):
            yield f"{other} {number}", course
    for number, course in enumerate(_drawn(draws), 1):
        yield f"draw {number}", course


def _drawn(count: int) -> list[Course]:
    drawn: list[Course] = []
    if not count:
        return drawn

    draw(drawn.append, count, "mutants")
    return drawn


def main(words: list[str]) -> int:
    """Try every mutant of the list, and print what became of each."""
    parser = argparse.ArgumentParser("python -m tests.invariants.mutants")
    parser.add_argument("clause", nargs="*", help="a/air, or a for all of its letter")
    parser.add_argument("--draws", type=int, default=60, help="courses drawn at last")
    parser.add_argument("--play", help=argparse.SUPPRESS)
    asked = parser.parse_args(words)
    if asked.play is not None:
        print(first_breaking(asked.play, asked.draws) if asked.play else _loaded())
        return 0
    mutants = [
        one
        for one in planted()
        if not asked.clause or {one.clause, one.clause[0]} & set(asked.clause)
    ]
    with tempfile.TemporaryDirectory(prefix="invariants-") as folder:
        killed = list(_tried(Workshop(Path(folder), draws=asked.draws), mutants))
    counts = dict.fromkeys(sorted({one.clause[0] for one in mutants}), 0)
    for one in killed:
        counts[one.clause[0]] += 1
    few = [letter for letter, count in counts.items() if count < LEAST]
    print(f"{len(killed)} of {len(mutants)} killed, {len(counts)} invariants")
    if few:
        print(f"fewer than {LEAST} killed by: {', '.join(few)}")
    return int(bool(few) or len(killed) < len(mutants))


def _tried(workshop: Workshop, mutants: list[PlantedMutant]) -> Iterator[PlantedMutant]:
    """Yield the mutants that are killed."""
    for mutant in mutants:
        try:
            killer = workshop.killer(mutant)
        except (RuntimeError, ValueError, subprocess.TimeoutExpired) as error:
            print(f"{mutant.clause:<20} does not run: {error}", flush=True)
            continue
        first = mutant.becomes.strip().partition("\n")[0]
        print(f"{mutant.clause:<20} {killer or 'SURVIVED':<22} {first}", flush=True)
        if killer:
            yield mutant


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
