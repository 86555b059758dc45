"""O2 as a line of CO2."""

import random

import pytest

from cabinvigil.daemon.trend import line
from cabinvigil.daemon.trend.line import RatioLine


def follow(ratio: float, level: float, most_ppm: float, noise: float) -> RatioLine:
    rng = random.Random(5)
    found = line.begin(level, 0.0, noise)
    for step in range(120):
        excess = most_ppm * step / 119.0
        o2 = level - ratio * excess + rng.gauss(0.0, noise)
        found = line.read(found, o2, excess, noise)
    return found


@pytest.mark.parametrize("ratio", [1.2e-4, 1.527e-4, 1.9e-4])
def test_learns_the_ratio(ratio: float) -> None:
    """From a fall of one to two points the ratio is known to a few hundredths.

    1.527 is propane on a dried sample (recorded rooms: 1.53 to 1.63).
    """
    found = follow(ratio, 20.9, 10000.0, 0.02)
    assert found.ratio == pytest.approx(ratio, rel=0.05)
    assert found.o2_pct(0.0) == pytest.approx(20.9, abs=0.05)


def test_knows_what_it_does_not_know() -> None:
    """The variance shrinks with readings, and grows away from where they were."""
    found = follow(1.75e-4, 20.9, 2000.0, 0.02)
    assert found.variance(1000.0) < 0.01**2
    assert found.variance(20000.0) > 10.0 * found.variance(1000.0)
    assert line.unread().variance(0.0) == pytest.approx(0.15**2)


def test_a_cell_s_span_error_is_its_level() -> None:
    """A cell that reads 0.4 low at first is taken as it reads."""
    found = line.begin(20.4, 600.0, 0.03)
    assert found.o2_pct(600.0) == pytest.approx(20.4)


def test_what_cannot_be_explained_does_not_bend_the_line_at_once() -> None:
    """One reading far off leaves level and ratio; many in a row are followed."""
    found = follow(1.75e-4, 20.9, 2000.0, 0.02)
    once = line.read(found, 19.0, 2000.0, 0.02)
    assert (once.level_pct, once.ratio) == (found.level_pct, found.ratio)
    for _ in range(60):
        once = line.read(once, 19.0, 2000.0, 0.02)
    assert once.o2_pct(2000.0) == pytest.approx(19.0, abs=0.05)


def test_a_fixed_line_has_no_doubt() -> None:
    """The line that carries O2 as pseudo-CO2 turns back exactly."""
    found = line.fixed(20.75)
    assert found.o2_pct((20.75 - 19.5) / line.RATIO) == pytest.approx(19.5)
    assert found.variance(1e4) == 0.0
