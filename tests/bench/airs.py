"""Whose air the projection's benchmark judges nights in."""

from collections.abc import Callable, Mapping
from typing import Literal

from tests.bench.nights import Night, make_night
from tests.bench.second_nights.projection_form import make_second_night
from tests.bench.zone_nights import make_zone_night

Air = Literal["zone", "apart", "second"]
"""The rehearsal's; a generator's written apart from it; one by another hand."""
MAKERS: Mapping[Air, Callable[[int, str, bool], Night]] = {
    "zone": make_zone_night,
    "apart": make_night,
    "second": make_second_night,
}
