"""What the core hands about is what it was when it was made."""

import pytest

from tests.tools.figures import moved
from tests.values import can_be_changed


@pytest.mark.parametrize("package", ["core", "rules"])
def test_no_value_is_changed_behind_its_back(package: str) -> None:
    """A night must replay, so nobody may alter what another still holds."""
    assert can_be_changed(f"cabinvigil.daemon.{package}") == []


def test_what_is_taken_where_nothing_is_said() -> None:
    """The defaults of the core and of the trend are those that were looked up."""
    assert moved("unsaid") == []
