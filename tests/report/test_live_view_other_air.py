"""Dust and indices as `show` has them: a line each, and no alarm."""

import pytest

from cabinvigil.daemon.report.live_view import COLUMNS, PastLooks, frame
from tests.report.test_live_view import STATUS


def test_an_index_stands_beside_its_usual() -> None:
    """It has no unit and no other scale; in 40 columns."""
    more = {"voc_index": 312.0, "nox_index": 4.0, "pm2_5_ugm3": 64.0}
    status = {**STATUS, "readings": {**STATUS["readings"], **more}}
    text = frame(status, PastLooks(), 0.0)
    assert "fine dust       64 µg/m³" in text
    assert "VOC index       312       100 is usual" in text
    assert "NOx index       4         1 is usual" in text
    assert max(map(len, text.splitlines())) <= COLUMNS
    assert "usual" not in frame(STATUS, PastLooks(), 0.0)


@pytest.mark.parametrize(
    ("co_per_h", "dust_per_h", "is_said"),
    [(20.0, 60.0, True), (0.0, 60.0, False), (20.0, 0.0, False), (20.0, -60.0, False)],
)
def test_dust_that_rises_with_co_points_at_the_flame(
    co_per_h: float, dust_per_h: float, is_said: bool
) -> None:
    """Dust alone is a pan's: that tells itself.  It is a line, and no alarm."""
    seen, text = PastLooks(), ""
    for minute in range(6):
        hour = minute / 60.0
        air = {
            "co_ppm": 5.0 + co_per_h * hour,
            "pm2_5_ugm3": 30.0 + dust_per_h * hour,
        }
        status = {**STATUS, "readings": {**STATUS["readings"], **air}}
        text = frame(status, seen, 60.0 * minute)
    assert ("Dust and CO rise together: look at" in text) is is_said
