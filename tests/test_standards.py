"""Every standard that is named, and its edition, against the one table of them.

The table is the documents of config/limits.toml, drawn into hardware.md.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.settings.limit_sources import Document, limit_sources
from tests.tools.drawings import STANDARD

ROOT = Path(__file__).parents[1]
PAGES = ("README.md", "hardware.md", "DEVELOPERS.md", "CHANGELOG.md")
FOLDERS = ("daemon", "config", "drivers")
KINDS = {".py", ".toml", ".md", ".json", ".css", ".html", ".js", ".1"}
_, DOCUMENTS = limit_sources()
TABLE: dict[str, Document] = {
    found[0]: one
    for one in DOCUMENTS.values()
    if (found := STANDARD.match(one.title)) is not None
}
NAMED = re.compile(
    rf"(?<![\w/-])({STANDARD.pattern})"
    r"(?:[:-]((?:19|20)\d\d)\b|,? ed(?:ition|\.)? ?(\d[\d.]*\d|\d)"
    r"|,? \(((?:19|20)\d\d)\))?"
)
BROKEN = re.compile(r"\n[ \t]*(?:#|//|\*)?[ \t]*")
"""A number may stand on two lines, in a comment too."""


def named(text: str) -> Iterator[tuple[str, str]]:
    """Yield each standard's number in a text, and its edition or ''."""
    for found in NAMED.finditer(BROKEN.sub(" ", text)):
        number, *editions = found.groups()
        yield number.rstrip("."), next((one for one in editions if one), "")


def agrees(number: str, edition: str) -> bool:
    """Say whether a number, or the series that it begins, stands so in the table."""
    wanted = [
        one
        for key, one in TABLE.items()
        if key == number or (key.startswith(f"{number}-") and not edition)
    ]
    return any(
        not edition
        or re.match(rf"{re.escape(edition)}(?:$|\D)", one.edition)
        or (re.fullmatch(r"\d{4}", edition) and one.date.startswith(edition))
        for one in wanted
    )


def files() -> Iterator[Path]:
    for page in PAGES:
        yield ROOT / page
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in KINDS and path.is_file():
                yield path


def test_each_standard_named_is_in_the_table_with_that_edition():
    """Daemon, drivers, config and pages; whoever names a new one adds its document."""
    met: dict[str, set[str]] = {}
    for path in files():
        for number, edition in named(path.read_text(encoding="utf-8")):
            where = f"{path.relative_to(ROOT)}: {number} {edition}"
            assert agrees(number, edition), where
            met.setdefault(number, set()).add(edition)
    assert len(met) >= 20, "the search has gone blind"
    editions = {number: seen - {""} for number, seen in met.items()}
    assert {"1991"} == editions["BS 5925"], "one with an edition is seen"
    assert all(len(seen) <= 1 for seen in editions.values()), editions


def test_what_stands_in_the_table_is_named_somewhere():
    """A row that nothing names any more is a leftover."""
    pages = [path for path in files() if path.name != "limits.toml"]
    text = "\n".join(path.read_text(encoding="utf-8") for path in pages)
    drawn = re.compile(r"<!-- drawn: standards -->.*?<!-- end -->", re.DOTALL)
    text = drawn.sub("", text)
    met = {number for number, _ in named(text)}
    assert TABLE.keys() - met == set()


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        ("EN 50291-1:2018", True),
        ("EN 50291-1:2010", False),
        ("EN 50291", True),
        ("EN 50291:2018", False),
        ("IEC 60601-1-8 ed. 2.2", True),
        ("IEC 60601-1-8 ed. 2.1", False),
        ("IEC 60601-1-8:2020", True),
        ("a wall (ISO\n    # 6946, read)", True),
        ("EN 99999", False),
        ("BS 5925 (1980)", False),
    ],
)
def test_an_older_edition_or_an_unknown_number_is_seen(text, fits):
    """The year or the edition; a series without its part may have none."""
    ((number, edition),) = named(text)
    assert agrees(number, edition) is fits
