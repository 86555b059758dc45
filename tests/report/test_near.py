"""How near each quantity came to its limit: columns that never run together."""

from types import SimpleNamespace
from typing import Any

import pytest

from cabinvigil.daemon.report import text


@pytest.mark.parametrize(
    ("at_least", "value", "said"),
    [
        ("", "19.7 %", "19.7 %         01:07  "),
        ("at least ", "100 % LEL", "at least 100 % LEL 01:07  "),
    ],
)
def test_a_long_value_leaves_a_blank_before_its_moment(
    at_least: str, value: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ "at least 100 % LEL01:07" was what a gas part at its end came to."""
    row = SimpleNamespace(
        words="unburnt gas", at_least=at_least, value=value, when="01:07",
        beyond="17 min at or above 10 %", margin="", limit="", measured="",
    )  # fmt: skip
    monkeypatch.setattr(text, "near_rows", lambda _found, _clock: [row])
    monkeypatch.setattr(text, "warned", lambda _found: "")
    found: Any = SimpleNamespace(warned_min=None, facts=None, spare=None)
    lines = list(text._near(found, lambda _s: "01:07"))
    assert lines[1].startswith(f"  unburnt gas                  {said}17 min")
