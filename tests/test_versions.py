"""One version in every place that names it, and the changelog speaks of this one."""

import json
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
CONFIG = ROOT / "config"
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"][
    "version"
]
NEWEST = (ROOT / "CHANGELOG.md").read_text("utf-8").split("\n## ")[1]


def of_schema(name: str) -> str:
    schema = json.loads((CONFIG / name).read_text("utf-8"))
    return str(schema["$id"]).split("/")[-2]


def of_asyncapi() -> str:
    found = re.search(
        r"^  version: (\S+)$", (CONFIG / "asyncapi.yaml").read_text(), re.MULTILINE
    )
    assert found is not None
    return found[1]


def test_the_changelog_begins_with_this_version() -> None:
    assert NEWEST.startswith(f"{VERSION} (")


def test_the_wheel_on_the_page_is_of_this_version() -> None:
    page = (ROOT / "hardware.md").read_text("utf-8")
    assert set(re.findall(r"cabinvigil-([0-9.]+)-py3", page)) == {VERSION}


@pytest.mark.parametrize(
    ("word", "version"),
    [
        ("MQTT", of_asyncapi()),
        ("--json", of_schema("output.schema.json")),
        ("log", of_schema("log.schema.json")),
    ],
)
def test_the_changelog_names_each_contract_as_it_is(word: str, version: str) -> None:
    """Whoever wrote a client looks there for what to read again."""
    first = NEWEST.split("\n### ")[1]
    lines = [line for line in first.splitlines() if word in line and version in line]
    assert len(lines) == 1, f"{word} {version}"
