"""A missing library is told with the command that puts it in here."""

import re
import sys
import tomllib
from pathlib import Path

import pytest

from cabinvigil.daemon.text.libraries import put_in

TREE = Path(__file__).parents[2]


def test_debians_python_is_given_debians_packages(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """There pip is not installed, or refuses; elsewhere it is the environment's."""
    monkeypatch.setattr(sys, "prefix", "/usr")
    told = put_in("matplotlib", "python3-matplotlib")
    assert told == "`sudo apt-get install python3-matplotlib`"
    monkeypatch.setattr(sys, "prefix", "/opt/cabinvigil")
    told = put_in("matplotlib", "python3-matplotlib")
    assert told == "`/opt/cabinvigil/bin/pip install matplotlib`"


def test_every_missing_library_is_told_so() -> None:
    """No other sentence names pip: nobody has put this project there by its name."""
    others = [
        path.name
        for path in (TREE / "daemon").rglob("*.py")
        if "pip install" in path.read_text() and path.name != "libraries.py"
    ]
    assert others == []


def test_what_the_phones_end_asks_for_is_its_extra() -> None:
    project = tomllib.loads((TREE / "pyproject.toml").read_text())["project"]
    extra = {one.split(">=")[0] for one in project["optional-dependencies"]["phone"]}
    text = (TREE / "daemon/commands/phone.py").read_text()
    (names,) = re.findall(r'put_in\(\s*"([^"]*)"', text)
    assert set(names.split()) == extra
