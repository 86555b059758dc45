"""What `mutants.toml` says of a line is said of a line that still stands."""

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ALIKE = tomllib.loads((ROOT / "tests/tools/mutants.toml").read_text("utf-8"))["alike"]


@pytest.mark.parametrize("one", ALIKE, ids=lambda one: str(one["file"]))
def test_the_line_that_is_quoted_stands_in_its_file(one: dict[str, str]) -> None:
    lines = (ROOT / one["file"]).read_text("utf-8").splitlines()
    assert any(one["was"] in line for line in lines)
    assert one["was"] != one["becomes"]
    assert one["why"]
