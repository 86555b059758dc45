"""How far a part that warms up may yet move; `test_engine_trend.py` has the rest."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.core.history import Series, begin
from cabinvigil.daemon.core.layout import Layout
from cabinvigil.daemon.core.settling import settles_by
from tests.core.scenario import series

NOW_S = 3600.0


@pytest.mark.parametrize(
    ("doubted_s", "settles_pct"),
    [(0.0, 1.0), (450.0, 0.5), (900.0, 0.0), (5000.0, 0.0), (None, 0.0)],
)
def test_a_cell_settles_by_less_and_less(
    doubted_s: float | None, settles_pct: float
) -> None:
    """1 % at first and nothing from the end of its warm-up on, or beyond doubt."""
    spec = series("o2_pct", settles=1.0, warm_up_s=900.0)
    optical = series("o2_pct__disc", warm_up_s=60.0)
    cell = Series(20.9, NOW_S)
    if doubted_s is not None:
        cell = replace(cell, doubtful=True, doubtful_s=NOW_S - doubted_s)
    history = begin(Layout({"o2_pct": spec, "o2_pct__disc": optical}), NOW_S)
    history = replace(history, series={"o2_pct": cell, "o2_pct__disc": cell})
    assert settles_by(history, "o2_pct") == pytest.approx(settles_pct)
    assert settles_by(history, "o2_pct__disc") == 0.0
