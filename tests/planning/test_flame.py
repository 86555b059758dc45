"""The flame that the cold lets burn, and what the plan tells of it in every section."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.air.cylinder import Cylinder, boiling_kj_kg, coldest_c
from cabinvigil.daemon.planning.advice import changes
from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan
from cabinvigil.daemon.planning.flame import Flame, flame
from cabinvigil.daemon.planning.plan import plan
from cabinvigil.daemon.planning.plan_json import plan_object
from cabinvigil.daemon.planning.scenario import held_down, scenarios
from cabinvigil.daemon.planning.words import account

BUTANE = CabinPlan(fuel={"butane": 1.0}, outside_c=-4.0)
PROPANE = CabinPlan(outside_c=-4.0)


def test_propane_and_a_burner_that_is_out_are_held_down_by_no_winter():
    for cabin in (CabinPlan(), PROPANE, CabinPlan(outside_c=-25.0)):
        assert flame(cabin) == Flame(1.6, 1.6)
    nothing = flame(replace(BUTANE, burner_kw=0.0))
    assert nothing == Flame(0.0, 0.0)
    assert nothing.least_share == 1.0


def test_butane_outdoors_ends_where_its_pressure_does():
    """check_values `fuel_vapour_pressure`: 1.03 bar at 0 °C, 1.48 at 10 °C.

    With the regulator's 0.3 bar it needs 1.31 bar at the sea, so some 7 °C; at 3 000 m,
    0.70 bar and 0.3, some -1 °C.
    """
    sea = replace(BUTANE, altitude_m=0.0)
    assert flame(replace(sea, outside_c=6.0)).least_kw == 0.0
    assert flame(replace(sea, outside_c=8.0)).least_kw > 0.0
    high = replace(BUTANE, altitude_m=3000.0)
    assert flame(replace(high, outside_c=-2.0)).least_kw == 0.0
    assert flame(replace(high, outside_c=0.0)).least_kw > 0.0


def test_a_warm_cylinder_feeds_it_for_hours():
    """Why the larger flame counts for the air: 5 kg of butane that come in at 20 °C.

    By hand: steel and liquid, 5 x 480 and 5 x 2 312 J/K, cool to where the pressure
    ends, and boil off with that heat alone; 13.75 kWh a kilogram (check_values).
    """
    cylinder = Cylinder(5.0, 5.0, {"butane": 1.0})
    lowest_c = coldest_c(cylinder.liquid)
    kj = 5.0 * (0.480 + 2.312) * (20.0 - lowest_c)
    kwh = 13.75 * kj / boiling_kj_kg(cylinder.liquid, lowest_c)
    assert kwh == pytest.approx(6.5, abs=0.6)
    assert kwh > 2 * 1.6


def test_a_night_that_is_too_short_to_cool_it_is_not_held_down():
    """5 kW from 11 kg at -30 °C: not for a night, yet for an hour."""
    cabin = CabinPlan(burner_kw=5.0, cylinder_kg=11.0, outside_c=-30.0)
    assert flame(cabin).is_limited
    assert not flame(replace(cabin, burns=(BurnWindow(8.0, 9.0),))).is_limited


def test_the_air_is_told_for_the_larger_flame_and_the_warmth_for_the_smaller():
    """N12: butane at -4 °C fed nothing, and warmed the cabin to 35 °C all night."""
    butane, propane = plan(BUTANE), plan(PROPANE)
    least, most = butane.flame
    assert (least, most) == (0.0, 1.6)
    # the gases are as bad as propane's, within what the fuels differ by
    assert butane.air.o2_pct[1] == pytest.approx(propane.air.o2_pct[1], abs=0.1)
    assert butane.air.co2_ppm[2] == pytest.approx(propane.air.co2_ppm[2], rel=0.05)
    assert butane.vents.is_good == propane.vents.is_good
    assert butane.vent.needed_cm2[2] == pytest.approx(
        propane.vent.needed_cm2[2], rel=0.05
    )
    o2_19_5 = butane.shut.minutes_to_o2[19.5]
    assert o2_19_5[0] == pytest.approx(propane.shut.minutes_to_o2[19.5][0], abs=1.0)
    assert o2_19_5[2] is None  # unlit, nobody gets there
    assert butane.wet.burner_kg == pytest.approx(propane.wet.burner_kg, rel=0.06)
    # at its best the air is that of sleepers alone, and so are walls and bunks
    alone = plan(replace(BUTANE, burner_kw=0.0))
    assert butane.air.o2_pct[2] == pytest.approx(alone.air.o2_pct[2], abs=0.05)
    assert butane.air.temp_c[1] == pytest.approx(alone.air.temp_c[1], abs=0.01)
    assert butane.air.temp_c[2] == pytest.approx(propane.air.temp_c[2], abs=1.0)
    assert butane.coldest_nights[0].moments[-1].temp_c < 1.0
    assert butane.coldest_nights[0].burnt_kwh == 0.0
    assert butane.nights[0].burnt_kwh == pytest.approx(14.4)


def test_a_pane_is_dry_only_if_it_is_with_either_flame():
    """Unlit, two sleepers in the cold wet what a flame would dry."""
    assert plan(PROPANE).drying.is_dry
    made = plan(BUTANE)
    assert made.drying.is_hopeless
    told = " ".join(account(made, ()).split())
    assert "With the heater weakened by the cold, no vent keeps windows dry." in told


def test_every_section_says_so():
    """Head, gas, wet, warmth and advice; the object has both flames."""
    made = plan(BUTANE)
    text = account(made, changes(made))
    told = " ".join(text.split())
    assert "a cylinder outdoors supplies 0.0 of the heater's 1.6 kW" in told
    assert "are for 1.6 kW, warmth for 0.0" in told
    assert "for the night up to 1.05 kg = 14.4 kWh" in told
    assert "a cylinder outdoors lasts 0 h" in told
    assert "water from the heater up to 1.62 kg" in told
    warmth = text[text.index("6. Warmth") : text.index("Heater lit, two")]
    assert "heater lit" not in warmth
    said = " ".join(changes(made))
    assert "Take propane: " in said
    assert "Pack sleeping bags and clothes for -" in said
    found = plan_object(made, changes(made))
    assert found["flame_kw"] == {"least": 0.0, "most": 1.6}
    assert found["gas"]["fed_kw"] == 0.0
    assert found["gas"]["cylinder_hours"] == [0.0, 0.0, 0.0]
    assert found["settled"]["temp_c"][1] < 5.0


def test_a_mix_is_held_down_by_halves():
    """Seven parts of butane in ten at -15 °C feed part of a large burner."""
    mix = CabinPlan(
        fuel={"propane": 0.3, "butane": 0.7}, burner_kw=2.5, outside_c=-15.0
    )
    least, most = flame(mix)
    assert 0.0 < least < most
    cold = held_down(scenarios(mix)[0])
    assert cold.flame_kw == pytest.approx(least)
    flames = sorted(way.flame_kw for way in scenarios(mix))
    assert flames == pytest.approx([least, least, 2.5, 2.75, 2.75])
    made = plan(mix)
    assert made.air.temp_c[1] < made.air.hot_c
    said = " ".join(changes(made))
    assert "Take propane or a larger cylinder: " in said


def test_a_flame_that_is_not_held_down_is_one_plan():
    """Nothing of two flames is said, and both nights for the warmth are the others."""
    made = plan(CabinPlan())
    assert made.coldest_nights == (made.nights[0], made.other_night)
    text = account(made, changes(made))
    assert "up to 1" not in text
    assert "In this cold" not in text
    assert held_down(scenarios(CabinPlan())[0]) == scenarios(CabinPlan())[0]


def test_the_picture_says_for_which_flame_its_lines_are(tmp_path):
    """Else the likeliest line and the advice would disagree."""
    from cabinvigil.daemon.planning.picture import draw

    for cabin, is_said in ((BUTANE, True), (CabinPlan(), False)):
        draw(plan(cabin), tmp_path / "night.svg")
        text = (tmp_path / "night.svg").read_text(encoding="utf-8")
        assert ("lines: 1.6 kW; in this cold perhaps only 0.0" in text) == is_said
