"""No evening is advised that is a danger itself."""

from random import Random

import pytest

from cabinvigil.daemon.planning.advice import changes
from cabinvigil.daemon.planning.figures import cabin_plan
from cabinvigil.daemon.planning.plan import plan

O2_LIMIT_PCT = 19.5
"""29 CFR 1910.146(b)."""


@pytest.mark.parametrize("seed", range(24))
def test_what_is_advised_keeps_oxygen_above_its_limit(seed: int) -> None:
    """A van of 9 m3 with one vent of 77 cm2 was told to warm up, to 14.5 % oxygen."""
    random = Random(seed)
    one = random.random() < 0.5
    low_cm2, high_cm2 = (random.choice((0.0, 40.0, 80.0, 150.0, 300.0)) for _ in "ab")
    made = plan(
        cabin_plan(
            {
                "volume_m3": random.choice((6.0, 9.0, 14.0)),
                "people": random.choice((1, 2, 3)),
                "burner_kw": random.choice((0.9, 1.8, 3.0)),
                "altitude_m": random.choice((0.0, 1500.0)),
                "outside_c": random.choice((-15.0, 0.0)),
                "vent_low_cm2": low_cm2 * (not one),
                "vent_high_cm2": high_cm2,
            }
        )
    )
    first = changes(made)[0]
    # burnt all night by the call; advised is the other night, warmed up before bed
    warmed_pct = made.other_night.least_o2_pct
    assert ("warm up before bed" in first) == (warmed_pct >= O2_LIMIT_PCT)
    assert first.startswith("Do not light") == (warmed_pct < O2_LIMIT_PCT)
