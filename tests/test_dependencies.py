"""What comes along with the package: under which licences, and told where."""

import re
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, metadata, requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PAGE = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
EXTRAS = ("phone", "pi", "review", "terminal")
FAMILIES = {
    "Apache": "Apache",
    "BSD": "BSD",
    "Eclipse|EPL": "EPL",
    "HPND|Historical": "HPND",
    "LGPL|Lesser": "LGPL",
    "MIT": "MIT",
    "MPL|Mozilla": "MPL",
    "PSF|Python Software": "PSF",
}
"""Metadata name licences in three ways, and change from release to release."""
STRONG = re.compile(r"\b(A?GPL|SSPL|Commons-Clause)\b|Affero|Non-?Commercial")


def families(text: str) -> set[str]:
    """Give the families of licences that a text names."""
    return {word for looks, word in FAMILIES.items() if re.search(looks, text)}


def listed() -> dict[str, str]:
    """Give the table's licences by package."""
    rows = re.findall(
        r"^\| ([\w.-]+) \| ([^|]+) \| (?:run|phone|pi|review|terminal)",
        PAGE,
        re.MULTILINE,
    )
    return {canonicalize_name(name): licence for name, licence in rows}


def said(package: str) -> str:
    """Give what a package's own metadata say of its licence."""
    own = metadata(package)
    expression = own.get("License-Expression")
    if expression:
        return str(expression)
    classifiers = [
        each.removeprefix("License :: OSI Approved :: ")
        for each in own.get_all("Classifier") or ()
        if each.startswith("License ::")
    ]
    return " AND ".join(classifiers) or str(own.get("License"))


def wanted(package: str, extras: tuple[str, ...] = ()) -> Iterator[str]:
    """Yield what a package needs on this machine, and what those need."""
    for line in requires(package) or ():
        need = Requirement(line)
        asked = ("", *extras)
        if need.marker is None or any(
            need.marker.evaluate({"extra": e}) for e in asked
        ):
            yield canonicalize_name(need.name)
            try:
                yield from wanted(need.name, tuple(need.extras))
            except PackageNotFoundError:
                continue


COMES_ALONG = sorted(set(wanted("cabinvigil", EXTRAS)))


def test_all_that_comes_along_is_listed() -> None:
    """With the extras for a Pi, the review and the terminal; what they need, too."""
    assert {"attrs", "contourpy", "gpiod"} <= set(COMES_ALONG)
    assert [name for name in COMES_ALONG if name not in listed()] == []


@pytest.mark.parametrize("name", COMES_ALONG)
def test_the_licence_listed_is_the_packages_own(name: str) -> None:
    try:
        own = said(name)
    except PackageNotFoundError:
        pytest.skip(f"{name} is not installed on this machine")
    # Within what is listed: newer metadata name the files' licence, older a choice.
    assert families(own), own
    assert families(own) <= families(listed()[name])


def test_no_licence_asks_that_the_whole_be_under_it() -> None:
    """Ours is MIT; gpiod's is the lesser one, and it is loaded, not copied."""
    told = listed()
    assert len(told) > 10
    assert [name for name, text in told.items() if STRONG.search(text)] == []
    assert STRONG.search("GPL-3.0-only")
    assert not STRONG.search("LGPL-2.1-or-later")
