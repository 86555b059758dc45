"""Every packaged limit has its document, with edition, date and who read it."""

import re
import tomllib
from typing import Any

import pytest

from cabinvigil.daemon.settings.limit_sources import (
    RULE,
    Document,
    limit_sources,
    uncited,
)
from cabinvigil.daemon.settings.registries import packaged

PLAIN: dict[str, Any] = tomllib.loads(
    packaged("limits.toml").read_text(encoding="utf-8")
)
LIMITS, DOCUMENTS = limit_sources()


def test_every_limit_cites_a_document() -> None:
    """Each step, each other number, and the rule's own figures where there is none."""
    assert list(uncited(PLAIN)) == []
    assert all(limit.documents for limit in LIMITS)
    assert {limit.alarm for limit in LIMITS} == PLAIN["alarm"].keys()


@pytest.mark.parametrize(
    ("change", "missing"),
    [
        ({"alarm": {"new": {"kind": "level", "steps": [{}]}}, "cites": {}}, "new"),
        (
            {"alarm": {"a": {"limit": 1.0}}, "cites": {"a": {"rule": ["own"]}}},
            "a.limit",
        ),
        (
            {"alarm": {"a": {"steps": [1, 2]}}, "cites": {"a": {"steps": [["own"]]}}},
            "a.steps",
        ),
    ],
)
def test_one_that_cites_none_is_found(change: dict[str, Any], missing: str) -> None:
    """A new limit, or a step more, without its source."""
    assert missing in list(uncited(change))


@pytest.mark.parametrize("document", DOCUMENTS.values(), ids=lambda one: one.id)
def test_each_document_says_what_it_is(document: Document) -> None:
    """A published one has an edition and a date; each says who opened it."""
    assert document.title
    assert document.status in {"read", "secondary", "from memory", "own choice"}
    is_ours = document.id in {"own", "practice", "mass-balance", "benchmark"}
    is_here = is_ours or document.id in {"sheets", "rooms"}
    assert bool(re.fullmatch(r"\d{4}(-\d\d){0,2}", document.date)) is not is_here
    assert document.edition or document.id in {"own", "practice"}


def test_nothing_is_cited_that_is_not_named_and_no_key_in_vain() -> None:
    """A typing slip in an id is a KeyError; one in a key cites a limit that is none."""
    for alarm, cites in PLAIN["cites"].items():
        known = {*PLAIN["alarm"][alarm], RULE}
        if alarm == "o2-pressure":
            known.add("share_pct")
        assert cites.keys() <= known, alarm


def test_the_editions_are_those_of_today() -> None:
    """As looked up in 2026: what each standard's newest edition is."""
    editions = {
        "en721": "2019",
        "asnzs5601.2": "2020",
        "iso10239": "2014",
        "iec60601-1-8": "2.2",
        "en673": "2024",
        "en50292": "2023",
        "iec62682": "2nd",
        "en50291-1": "2018",
    }
    for key, edition in editions.items():
        assert DOCUMENTS[key].edition.startswith(edition)


def test_a_limit_has_its_value_unit_and_time() -> None:
    """The WHO's eight hours, as they are printed."""
    (step,) = (one for one in LIMITS if one.alarm == "co-level" and one.value == 8.7)
    assert (step.unit, step.priority, step.over_s) == ("ppm", "low", 28_800.0)
    assert [one.id for one in step.documents] == ["who-2000", "who-2010"]
