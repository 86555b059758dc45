"""What the core expects of the air: series by quantity and place."""

import pytest

from cabinvigil.daemon.core.layout import Layout
from tests.core.scenario import cabin


def test_series_are_found_by_quantity_and_place() -> None:
    """At one place, or wherever people breathe: never outside, never the glass."""
    keys = [
        "o2_pct__a",
        "o2_pct__b",
        "o2_pct_ceiling",
        "temp_c",
        "temp_c_outside",
        "temp_c_glass",
    ]
    layout = cabin(keys=keys).layout
    assert layout.index("o2_pct") == ("o2_pct__a", "o2_pct__b", "o2_pct_ceiling")
    assert layout.index("o2_pct", "") == ("o2_pct__a", "o2_pct__b")
    assert layout.index("temp_c") == ("temp_c",)
    assert layout.index("temp_c", "glass") == ("temp_c_glass",)
    assert layout.index("co_ppm") == ()


def test_a_series_that_is_no_channel_is_refused() -> None:
    """A key that no quantity begins is a mistake of ours, said by name."""
    series = {"oxygen": cabin(keys=["o2_pct"]).layout.series["o2_pct"]}
    with pytest.raises(ValueError, match="'oxygen' is not a channel"):
        Layout(series)
