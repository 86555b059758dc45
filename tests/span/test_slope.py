"""The drift with temperature that a cell's spans on cold and on warm days tell."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.kept import Span, SpansFile, maker
from cabinvigil.daemon.span.slope import SpannedAt, slope_pct_per_k
from cabinvigil.drivers import part as find_part

FIRST = datetime(2026, 10, 1, 9, 0, tzinfo=UTC)


def spans(
    *days_and_temps: tuple[float, float],
    slope: float,
    ageing: float = -0.01,
    noise: float = 0.0,
) -> list[SpannedAt]:
    """Spans of a cell that drifts and ages so, in shares a kelvin and a month."""
    random = Random(5)
    return [
        SpannedAt(
            FIRST + timedelta(days=days),
            temp_c,
            0.05
            * (1.0 + slope * (temp_c - 20.0))
            * (1.0 + ageing * days / 30.44)
            * random.gauss(1.0, noise),
        )
        for days, temp_c in days_and_temps
    ]


MONTHLY = tuple((30.0 * n, 20.0 if n % 2 else 4.0) for n in range(8))
"""A winter of spans, now in the cold and now in the warmth."""
SEASON = tuple(zip((0, 30, 60, 90, 120), (20, 14, 5, 4, 3), strict=True))
"""Ever colder, as it ages: the two cannot be told apart well."""


@pytest.mark.parametrize("slope", [0.0005, 0.0, -0.0005])
@pytest.mark.parametrize("ageing", [-0.005, -0.01, -0.02])
def test_a_winter_of_spans_tells_the_slope(slope: float, ageing: float) -> None:
    """Eight spans of 0.2 % each and 8 K about their mean: 0.009 % a kelvin, thrice."""
    found = slope_pct_per_k(spans(*MONTHLY, slope=slope, ageing=ageing, noise=0.002))
    assert found == pytest.approx(100.0 * slope, abs=0.027)


def test_two_spans_of_one_week_tell_most_of_it() -> None:
    """By hand: (256/2 : 256/2 + 0.003^2/0.0005^2) is 0.78 of what they show."""
    week = spans((0.0, 4.0), (3.0, 20.0), slope=0.0005, ageing=-0.01)
    assert slope_pct_per_k(week) == pytest.approx(0.78 * 0.05, abs=0.006)


def test_what_may_be_age_is_believed_by_half() -> None:
    """A season that grows colder as the cell grows older: no slope is made up of it."""
    found = slope_pct_per_k(spans(*SEASON, slope=0.0, ageing=-0.02))
    assert found is not None
    assert abs(found) < 0.05, "within what the maker promises, by nothing at all"


@pytest.mark.parametrize(
    "days_and_temps", [(), ((0.0, 20.0),), ((0.0, 20.0), (30.0, 5.1))]
)
def test_spans_that_lie_near_tell_nothing(
    days_and_temps: Sequence[tuple[float, float]],
) -> None:
    """15 K apart, or the config's own figure stands."""
    assert slope_pct_per_k(spans(*days_and_temps, slope=0.0005)) is None


def test_the_watch_drives_the_cell_with_it(tmp_path: Path) -> None:
    """Spanned at 4 and at 20 °C: half of the drift is left where there is none."""

    def span(days: float, temp_c: float) -> Span:
        mv = 10.0 * (1.0 + 0.001 * (temp_c - 20.0))
        options = {"air_mv": mv, "air_hpa": 1000.0, "air_temp_c": temp_c}
        at = FIRST + timedelta(days=days)
        plain = Span("cell", "o2_cell_ads1115", at, mv, "mV", options=options)
        return replace(plain, temp_c=temp_c)

    info = find_part("o2_cell_ads1115")
    part = PartSettings(kind="o2_cell_ads1115", bus="main")
    file = SpansFile(tmp_path)
    file.add([span(0.0, 4.0)], FIRST, 100.0)
    assert maker(tmp_path, [].append)("cell", part, info)._cell.slope_pct_per_k == 0.0
    file.add([span(1.0, 20.0)], FIRST, 100.0)
    cell = maker(tmp_path, [].append)("cell", part, info)._cell
    assert cell.slope_pct_per_k == pytest.approx(0.078, abs=0.005)
    cold = 10.0 * (1.0 + 0.001 * -29.0)
    percent = cell.span.percent(cell.signal(cold, -9.0), 1000.0)[0]
    assert percent == pytest.approx(20.9, abs=0.15), "0.6 below, without it"
