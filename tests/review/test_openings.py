"""What the vents that are fitted would pass: one alone is not two."""

import math

import pytest

from cabinvigil.daemon.review.cabin_facts import CabinFacts
from cabinvigil.daemon.review.openings import REFERENCE_CM2, Vent, vent_of

AIR = 20.0, 30.0, 40.0
WARMTH = 15.0, -10.0


def of(low: float | None, high: float | None) -> Vent:
    facts = CabinFacts(
        volume_m3=12.0, vent_low_cm2=low, vent_high_cm2=high, leak_per_h=0.0
    )
    found = vent_of(AIR, facts, WARMTH)
    assert found is not None
    return found


@pytest.mark.parametrize(("low", "high"), [(127.0, 0.0), (0.0, 127.0)])
def test_one_vent_passes_what_one_opening_passes(low: float, high: float) -> None:
    """BS 5925, single-sided ventilation in still air: Cd A/3 sqrt(g h dT/T).

    From memory; the opening's own height is taken as that of a square.  By hand for
    127 cm2, 25 K and Cd 0.6: 0.6 * 0.0127 / 3 * sqrt(9.81 * 0.1127 * 25 / 288.15)
    = 0.00079 m3/s.
    """
    one = of(low, high)
    by_hand = 3600.0 * 0.6 * 0.0127 / 3.0
    by_hand *= math.sqrt(9.81 * math.sqrt(0.0127) * 25.0 / 288.15)
    assert one.is_one
    assert one.fitted_cm2 == 127.0
    assert one.expected_m3_h[0] <= by_hand * 1.1
    assert one.expected_m3_h[2] >= by_hand * 0.9
    two = of(63.5, 63.5)
    assert two.is_two
    assert two.fitted_cm2 == 63.5
    # of the same area in all, low and high, it is several times as much
    assert two.expected_m3_h[1] > 3.0 * one.expected_m3_h[1]


def test_the_pair_to_compare_with_does_not_hang_on_what_is_fitted() -> None:
    """As two vents of: the same air through the same cabin is the same pair."""
    same = of(50.0, 50.0).each_cm2
    for low, high in ((127.0, 0.0), (0.0, 0.0), (None, None)):
        found = of(low, high)
        assert found.each_cm2 == pytest.approx(same, rel=1e-9)
        assert found.pair[0] == REFERENCE_CM2
    assert of(0.0, 0.0).fitted_cm2 == 0.0
    assert of(None, None).fitted_cm2 is None
    assert not of(0.0, 0.0).is_one
    assert of(0.0, 0.0).expected_m3_h == (0.0, 0.0, 0.0)
