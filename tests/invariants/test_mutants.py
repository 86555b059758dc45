"""The oracle notices mistakes: one planted mutant is tried, the list is looked over."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from tests.invariants.clauses import CLAUSES
from tests.invariants.mutants import LEAST, PlantedMutant, Workshop, planted
from tests.tools.mutants import ROOT

BY_NONE = {
    "a/sounding": "a danger that sounds holds the all-clear back, and so does its text",
    "b/loose-config": "the settings refuse it, before the core sees it",
    "c/loose-config": "the settings refuse it, before the core sees it",
}
"""Clauses without mutants of their own, each with the reason."""


def test_every_mutant_stands_in_its_file_once_and_is_python() -> None:
    """Who changes such a line changes the mutant with it."""
    for mutant in planted():
        compile(mutant.source(ROOT), mutant.file, "exec")
        assert mutant.was != mutant.becomes
        assert mutant.file.startswith(("daemon/core/", "daemon/rules/"))


def test_every_clause_has_two() -> None:
    """But for those that nothing in the core alone can break."""
    counts = Counter(mutant.clause for mutant in planted())
    assert set(counts) <= set(CLAUSES)
    without = {clause for clause in CLAUSES if counts[clause] < LEAST}
    assert without == set(BY_NONE)


def test_a_mutant_is_killed_and_the_same_text_is_not(tmp_path: Path) -> None:
    """In a copy, which is sound again afterwards."""
    workshop = Workshop(tmp_path, draws=0)
    mutant = next(one for one in planted() if one.clause == "a/air")
    assert workshop.killer(mutant) == "its course 1"
    was = "TEST_EVERY_S = 600.0"
    sound = PlantedMutant("q/test", "daemon/core/engine.py", was, f"{was}0")
    assert workshop.killer(sound) == ""
    assert (tmp_path / mutant.file).read_text("utf-8") == (
        ROOT / mutant.file
    ).read_text("utf-8")


def test_what_does_not_run_is_no_kill(tmp_path: Path) -> None:
    """A mutant that cannot be loaded shows nothing; nor does one of no text."""
    workshop = Workshop(tmp_path, draws=0)
    broken = PlantedMutant("a/air", "daemon/core/dose.py", "import math", "import mat")
    with pytest.raises(RuntimeError, match="No module named 'mat'"):
        workshop.killer(broken)
    nowhere = replace(broken, was="no such text")
    with pytest.raises(ValueError, match="stands there 0 times"):
        workshop.killer(nowhere)
