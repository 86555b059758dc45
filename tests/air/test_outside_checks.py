"""One table of what others published and what we give: `pytest -s` on this file."""

import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.air.outside.check import Check
from tests.air.outside.table import GROUPS, every_check, table

CHECKS = every_check()
README = Path(__file__).parents[1] / "README.md"
INSIDE = re.compile(r"common practice|computed apart")
"""No source of their own, or worked out for this project by another program."""


def independent(source: str) -> str:
    """The source without its page: one handbook is one source, whatever the table."""
    return re.split(r"[,:(\[]", source)[0].strip()


@pytest.mark.parametrize(
    "check", CHECKS, ids=lambda check: f"{check.quantity}, {check.source}"
)
def test_we_give_what_others_published(check: Check):
    """Within what the source's own error allows, or beyond it as is told."""
    assert check.is_as_told, (
        f"{check.ours:.6g} against {check.published:.6g}: {check.why}{check.excuse}"
    )
    assert check.why
    assert len(independent(check.source)) > 5


def test_the_table_is_large_and_its_sources_are_many():
    """At least 90 checks from at least 40 independent sources; `-s` prints them."""
    of_others = [check for check in CHECKS if not INSIDE.match(check.source)]
    named = {independent(check.source) for check in of_others}
    read = {independent(c.source) for c in of_others if "[memory]" not in c.source}
    misses = [check for check in CHECKS if check.miss]
    print(
        f"\n{table(CHECKS)}\n{len(CHECKS)} checks, {len(named)} sources, of which "
        f"{len(named - read)} were recalled; {len(misses)} lie beyond, to the safe side"
    )
    assert len(CHECKS) >= 90
    assert len(read) >= 40
    assert len(misses) <= 8
    told = f"({len(CHECKS)} checks, {len(named)} sources, {len(misses)} beyond"
    assert told in README.read_text(encoding="utf-8")


def test_each_figure_of_ours_is_worked_out_by_the_daemon():
    """Between one check and the next the daemon's air or plan has been called, or the
    same quantity or source is asked for more of it: no constant is held against itself.
    """
    calls = 0

    def count(frame, event, _arg):
        nonlocal calls
        name = frame.f_code.co_filename
        if event == "call" and ("/daemon/air/" in name or "/daemon/planning/" in name):
            calls += 1

    before: set[str] = set()
    idle = []
    for group in GROUPS:
        checks = group()
        while True:
            calls = 0
            sys.setprofile(count)
            check = next(checks, None)
            sys.setprofile(None)
            if check is None:
                break
            told = {check.quantity, check.source}
            if not calls and before.isdisjoint(told):
                idle.append(check.quantity)
            before = told
    assert idle == []


def test_a_miss_would_be_seen():
    """The table says MISSED, and the check does not hold, one tolerance away."""
    wrong = Check("x", "nobody", 1.0, 1.11, 0.1, "an example")
    assert not wrong.holds
    assert not wrong.is_as_told
    assert "MISSED" in table([wrong])
    told = Check("x", "nobody", 1.0, 1.11, 0.1, "an example", "above", "early")
    assert told.is_as_told
    assert "above, the safe side" in table([told])
    assert not replace(told, miss="below").is_as_told, "it lies on the other side"
    assert not replace(told, excuse="").is_as_told
    assert not replace(told, tolerance=0.2).is_as_told, "it holds: its excuse goes"
    assert Check("x", "nobody", 1.0, 1.09, 0.1, "an example").holds
