"""Is the O2 that went explained?"""

from dataclasses import replace

import pytest

from cabinvigil.daemon.trend import line
from cabinvigil.daemon.trend.explain import (
    NOTHING,
    Minute,
    ratio_z,
    unexplained,
)


def minutes(
    o2_per_min: float,
    ppm_per_min: float,
    vapour_per_min: float = 0.0,
    hpa_per_min: float = 0.0,
    humid: bool = True,
) -> tuple[Minute, ...]:
    return tuple(
        Minute(
            20.6 + o2_per_min * i,
            600.0 + ppm_per_min * i,
            0.008 + vapour_per_min * i if humid else None,
            1000.0 + hpa_per_min * i,
        )
        for i in range(14)
    )


def test_a_flame_explains_its_fall() -> None:
    """Propane: 1.53 points of dry O2 for each point of CO2 leave nothing over."""
    found = unexplained(minutes(-0.0153 * 3.0, 300.0), 0.01, 5.0)
    assert found == NOTHING


def test_a_leak_is_not_explained() -> None:
    """O2 falls by 0.05 a minute with CO2 still: most of it is missing."""
    found = unexplained(minutes(-0.05, 0.0), 0.01, 5.0)
    assert found.o2_pct == pytest.approx(0.6, abs=0.12)
    assert found.z > 10.0


def test_vapour_explains_what_it_pushes_out() -> None:
    """1 % of vapour takes 0.2 points of O2 with it."""
    found = unexplained(minutes(-0.0021, 0.0, vapour_per_min=0.0001), 0.01, 5.0)
    assert found.z < 2.0
    dry_eyed = unexplained(minutes(-0.015, 0.0, humid=False), 0.01, 5.0)
    assert dry_eyed.z < 2.0, "without humidity a kettle is allowed for"


def test_pressure_explains_a_cell_that_reads_partial_pressure() -> None:
    """Driving up 300 m takes 3.5 % of the reading."""
    found = unexplained(minutes(-0.056, 0.0, hpa_per_min=-2.7), 0.01, 5.0)
    assert found.z < 2.0


def test_one_minute_proves_nothing() -> None:
    """A fall seen in the last minute only is not told yet."""
    flat = minutes(0.0, 0.0)
    last = flat[-1]
    dip = Minute(20.0, last.co2_ppm, last.vapour, last.pressure_hpa)
    assert unexplained((*flat[:-1], dip), 0.01, 5.0) == NOTHING
    assert unexplained((*flat[:-2], dip, dip), 0.01, 5.0).z > 4.0


def test_too_little_past_tells_nothing() -> None:
    """Three minutes and less cannot be compared."""
    assert unexplained(minutes(-0.1, 0.0)[:3], 0.01, 5.0) == NOTHING


def test_the_ratio_s_bounds() -> None:
    """A ratio within what flame and sleepers do is no quarrel; beyond it is."""
    known = line.RatioLine(20.9, 1.6e-4, 1e-4, 0.0, 1e-12)
    assert ratio_z(known, wet=True) == 0.0
    high = line.RatioLine(20.9, 4e-4, 1e-4, 0.0, 1e-10)
    low = line.RatioLine(20.9, 0.2e-4, 1e-4, 0.0, 1e-10)
    assert ratio_z(high, wet=True) > 4.0
    assert ratio_z(low, wet=False) > 4.0


def test_a_cells_warmth_explains_what_it_may() -> None:
    """A fall of 0.6 is none where its cell may have moved by as much."""
    fall = minutes(-0.05, 0.0)
    warm = tuple(replace(one, off_pct=0.6) for one in fall)
    assert unexplained(warm, 0.01, 5.0).z < 2.0
    little = tuple(replace(one, off_pct=0.2) for one in fall)
    assert unexplained(little, 0.01, 5.0).o2_pct == pytest.approx(0.4, abs=0.12)
