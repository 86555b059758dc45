"""The building page as a job: its order, its lists to tick, its places in the cabin."""

import re
from itertools import pairwise

import pytest

from cabinvigil.drivers import REGISTRY
from tests.test_hardware import BUILDS, PAGE, anchors, sections
from tests.tools import drawings, places

STEPS = sections(PAGE, "##")["Order of work"]
SHOPPING = ("The least that helps", "The usual one", "The thorough one")
EXTRAS = BUILDS["Adapters and small parts"]
LONGEST_WORDS = 35
"""Of one sentence of the page: a source in brackets counts with it."""


def ticked(build: str, title: str) -> list[str]:
    """Return the items of one of a build's two lists."""
    (body,) = re.findall(
        rf"^\*\*{title}.*?\*\*\n\n(.*?)^(?!- \[ \] |  |\n)",
        BUILDS[build],
        re.MULTILINE | re.DOTALL,
    )
    return re.split(r"^- \[ \] ", body, flags=re.MULTILINE)[1:]


def order(text: str) -> list[int]:
    """Return where on the page the first link of each numbered step leads."""
    firsts = re.findall(r"^\d+\. \[[^\]]+\]\(#([\w-]+)\)", text, re.MULTILINE)
    places_of = {
        re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-"): at
        for head, at in (
            (found[1], found.start())
            for found in re.finditer(r"^##+ (.+)$", PAGE, re.MULTILINE)
        )
    }
    return [places_of[one] for one in firsts]


def test_the_steps_come_first_and_in_the_order_of_the_page() -> None:
    """Whoever reads on from the top does the work in its order."""
    heads = re.findall(r"^## (.+)$", PAGE, re.MULTILINE)
    assert heads[1] == "Order of work"
    found = order(STEPS)
    assert len(found) == len(re.findall(r"^\d+\. ", STEPS, re.MULTILINE)) == 12
    assert all(one < two for one, two in pairwise(found))
    assert {"calibrate", "dry-trial", "trusting-it"} <= anchors(PAGE)


def test_steps_in_another_order_are_noticed() -> None:
    first, second, *rest = [
        f"{line}\n" for line in STEPS.splitlines() if line[:1].isdigit()
    ]
    found = order("".join([second, first, *rest]))
    assert not all(one < two for one, two in pairwise(found))


@pytest.mark.parametrize("build", SHOPPING)
def test_each_build_is_two_lists_to_tick(build: str) -> None:
    """What to buy, with a choice for each sensor; then the work, each step linked."""
    assert len(ticked(build, "Buy")) >= 8
    for item in ticked(build, "Buy"):
        kinds = set(re.findall(r"\[`(\w+)`\]\(#\w+\)", item)) & set(REGISTRY)
        if kinds:
            assert len(kinds) > 1 or re.search(r"\b(or|any|two)\b", item), item
    work = ticked(build, "Work")
    assert len(work) >= 5
    assert sum("](#" in item for item in work) >= len(work) - 2
    assert sum("**CAUTION:**" in item or "**WARNING:**" in item for item in work) >= 3


@pytest.mark.parametrize("kind", sorted(REGISTRY))
def test_each_sensor_is_on_a_shopping_list_with_what_it_needs(kind: str) -> None:
    lists = "".join("".join(ticked(build, "Buy")) for build in SHOPPING)
    assert f"`{kind}`" in lists
    assert re.search(rf"^\| [^|]*`{kind}`[^|]* \|", EXTRAS, re.MULTILINE)


def test_no_warning_stands_alone() -> None:
    """Each is in a list's step, at a code block or in a section's own words."""
    heads = re.findall(
        r"^#+ .*(?:warning|caution|danger).*$", PAGE, re.MULTILINE | re.IGNORECASE
    )
    assert heads == []
    assert len(re.findall(r"\*\*(?:WARNING|CAUTION)", PAGE)) >= 40


def test_sentences_are_short() -> None:
    """Style: one idea a sentence; what is longer is cut, or is a list."""
    prose = re.sub(r"^```.*?^```$|<!--.*?-->", "", PAGE, flags=re.MULTILINE | re.DOTALL)
    prose = re.sub(r"\]\([^)]*\)", "]", re.sub(r"`[^`]*`", "code", prose))
    sentences = [
        sentence
        for line in prose.splitlines()
        for cell in (line.split("|") if line.startswith("|") else [line])
        for sentence in re.split(r"[.!?:;](?:\s|$)", cell)
    ]
    assert [one for one in sentences if len(one.split()) > LONGEST_WORDS] == []
    lengths = sorted(len(one.split()) for one in sentences if len(one.split()) > 2)
    assert lengths[len(lengths) * 9 // 10] <= 20, "nine in ten"


# --- the places -----------------------------------------------------------------


def test_the_picture_of_the_places_is_the_lists() -> None:
    """Else: `python -m tests.tools.drawings`; each number and label is in it."""
    kept = drawings.PLACES_PICTURE.read_text(encoding="utf-8")
    assert kept == places.picture()
    path = drawings.PLACES_PICTURE.relative_to(drawings.PAGE.parent).as_posix()
    assert f"]({path})" in PAGE
    for number, place in enumerate(places.PLACES, start=1):
        assert f">{number}</text>" in kept
        assert f">{place.label}</text>" in kept


def test_the_drawn_places_keep_the_tables_distances() -> None:
    """Carbon monoxide 1 to 3 m from the burner, dust above 20 cm, gas a hand up."""
    by = {one.what: one for one in places.PLACES}
    monoxide = by["carbon monoxide"]
    assert 1.0 <= places.to_burner_m(monoxide) <= 3.0
    assert places.to_pillow_m(monoxide) < places.to_burner_m(monoxide)
    bunk = by["oxygen, carbon dioxide, humidity: the bunk"]
    assert 0.5 <= places.to_pillow_m(bunk) <= 0.9, "an arm"
    assert abs(bunk.at[1] - places.PILLOW[1]) <= 0.15, "the pillow's level"
    assert by["fine dust"].at[1] >= 0.2
    assert by["unburnt gas"].at[1] <= 0.12
    assert by["outside air"].at[0] < 0
    inside = [one for one in places.PLACES if one is not by["outside air"]]
    assert all(0 < one.at[0] < places.LONG_M for one in inside)
    assert all(abs(one.at[0] - places.HEATER_M) > 0.2 for one in inside), "no plume"
