"""One table of what others published and what we give: `pytest -s` on this file."""

import re

import pytest

from tests.air.outside.check import Check
from tests.air.outside.table import every_check, table

CHECKS = every_check()


def independent(source: str) -> str:
    """The source without its page: one handbook is one source, whatever the table."""
    return re.split(r"[,:(\[]", source)[0].strip()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.quantity)
def test_we_give_what_others_published(check: Check):
    """Within the tolerance that the source's own error allows."""
    assert check.holds, f"{check.ours:.6g} against {check.published:.6g}: {check.why}"
    assert check.why


def test_the_table_is_large_and_its_sources_are_many():
    """At least 40 checks from at least 15 independent sources; `-s` prints them."""
    sources = sorted({independent(check.source) for check in CHECKS})
    print(f"\n{table(CHECKS)}\n{len(CHECKS)} checks, {len(sources)} sources")
    named = [source for source in sources if source != "common practice"]
    assert len(CHECKS) >= 40
    assert len(named) >= 15


def test_a_miss_would_be_seen():
    """The table says MISSED, and the check does not hold, one tolerance away."""
    wrong = Check("x", "nobody", 1.0, 1.11, 0.1, "an example")
    assert not wrong.holds
    assert "MISSED" in table([wrong])
    assert Check("x", "nobody", 1.0, 1.09, 0.1, "an example").holds
