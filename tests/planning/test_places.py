"""Where parts are wanted: two places where a flame stands high, N13."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.planning.advice import changes
from cabinvigil.daemon.planning.figures import CabinPlan, cabin_plan
from cabinvigil.daemon.planning.openings import STANDING_HEIGHT_M
from cabinvigil.daemon.planning.places import HIGH_FLAME_M
from cabinvigil.daemon.planning.plan import plan
from cabinvigil.daemon.planning.plan_json import plan_object
from cabinvigil.daemon.planning.words import account

SEALED = CabinPlan(vent_low_cm2=0.0, vent_high_cm2=0.0)


def places_of(made):
    return plan_object(made, ())["places"]


def test_a_flame_on_the_floor_asks_for_one_place():
    """The Lapwing's heater stands on the floor; with none there is nothing to ask."""
    for cabin in (CabinPlan(), CabinPlan(burner_kw=0.0, burner_height_m=None)):
        made = plan(cabin)
        assert places_of(made)["wanted"] == ["heads"]
        assert places_of(made)["minutes_above_flame"] is None
        assert "two places" not in " ".join(changes(made))


def test_a_flame_that_stands_high_asks_for_two():
    """In text and object, with the minutes that the layer above it has."""
    made = plan(CabinPlan(burner_height_m=1.2))
    told = places_of(made)
    assert (told["wanted"], told["burner_height_m"]) == (["heads", "low"], 1.2)
    low, middle, high = told["minutes_above_flame"]
    assert low <= middle <= high < plan(CabinPlan()).shut.minutes_to_o2[19.5][1]
    said = " ".join(changes(made))
    assert "The flame is 1.2 m above the floor" in said
    assert "measure oxygen in two places" in said
    assert "oxygen at 19.5 %, up high" in account(made, ())
    assert places_of(plan(CabinPlan(burner_height_m=HIGH_FLAME_M)))["wanted"] == [
        "heads"
    ]


def test_a_height_that_nobody_says_counts_as_high():
    """Another cabin than the example's, of which nobody said where its heater hangs."""
    cabin = cabin_plan({"volume_m3": 8.0})
    assert cabin.burner_height_m is None
    made = plan(cabin)
    assert places_of(made) == {
        "wanted": ["heads", "low"],
        "burner_height_m": None,
        "minutes_above_flame": None,
    }
    said = " ".join(changes(made))
    assert "Unless the flame is below 0.6 m" in said
    assert "--burner-height-m" in said


@pytest.mark.parametrize("height_m", [0.7, 1.0, 1.3])
def test_the_layer_has_the_minutes_of_its_share(height_m):
    """By hand, sealed: oxygen falls as much sooner as there is less air above it.

    An observer's own two layers had 14 to 17 min up and 31 to 42 low, where one zone
    has 23 (findings, N13): a third to two thirds of the one zone's at flames from the
    floor's middle up, and ours is told as the worst.
    """
    made = plan(replace(SEALED, burner_height_m=height_m, leak_per_h=0.0))
    whole = made.shut.minutes_to_o2[19.5][1]
    above = made.shut.above_flame_min[1]
    share = 1.0 - height_m / STANDING_HEIGHT_M
    assert above == pytest.approx(share * whole, rel=0.1)


def test_a_flame_under_the_roof_still_has_some_air():
    """At 3 m in a low cabin, by a typing error or in a hut: no division by nothing."""
    made = plan(CabinPlan(burner_height_m=3.0))
    assert made.shut.above_flame_min[0] >= 0.0
