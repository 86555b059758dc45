"""What each part is said to give, and what each quantity can be."""

import pytest

from tests.tools.figures import moved
from tests.values import can_be_changed


@pytest.mark.parametrize("what", ["parts", "quantities"])
def test_no_figure_moved_by_itself(what: str) -> None:
    """Noise, lag, steps, ranges and times are those read against their sources."""
    assert moved(what) == []


def test_no_value_is_changed_behind_its_back() -> None:
    """A reading is what the part said, wherever it goes."""
    assert can_be_changed("cabinvigil.drivers") == []
