"""The cabin's balance: water that settles, runs down and dries, and its heat."""

import pytest

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.combustion import PROPANE, burn
from cabinvigil.daemon.air.moisture import saturation_hpa, surface_c, vapour_gm3
from cabinvigil.daemon.air.surfaces import FILM_KG_M2
from cabinvigil.daemon.air.zone import (
    Inputs,
    People,
    Surface,
    Zone,
    ZoneState,
    outdoor_state,
    solve,
    steady,
    step,
)
from tests.air.zones import BARE, LAPWING, TWO, fractions, water


def test_ten_second_steps_are_enough_for_water():
    """What settled in a cold first hour differs by half a percent from 1 s steps."""
    outside = OutsideAir(-9.0)
    inputs = Inputs(outside, 0.008, 1.6, people=TWO)
    start = outdoor_state(LAPWING, outside, 0.0)
    coarse = solve(LAPWING, start, inputs, 3600.0)
    fine = start
    for _ in range(3600):
        fine = step(LAPWING, fine, inputs, 1.0)
    assert water(LAPWING, coarse)[1] == pytest.approx(water(LAPWING, fine)[1], rel=5e-3)
    assert water(LAPWING, fine)[1] > 0.05  # and it is wet indeed


def test_water_that_settled_is_missing_from_the_air():
    """Film and run-off hold what the air gave up: a cold and a dry shell side by side.

    Sealed, so that nothing leaves but what swells out; hydrogen is counted.
    """
    outside = OutsideAir(-9.0)
    wet_start = outdoor_state(BARE, outside, 20.0)
    people = People(0, 0, 1e-3, 0)
    hot = Zone(11.0, 0.0, 1e12, 1000.0, (Surface(3.0, 5.7),))
    state = ZoneState(*fractions(wet_start), 20.0, (0.0,))
    inputs = Inputs(outside, 0.0, people=people)
    left_mol = 0.0
    for _ in range(7200):
        before = state
        state = step(hot, state, inputs, 1.0)
        settled = (water(hot, state)[1] - water(hot, before)[1]) / 0.018015
        made = 1e-3 - settled
        left_mol += made * (before.h2o + state.h2o) / 2
    held0 = water(hot, ZoneState(*fractions(wet_start), 20.0, (0.0,)))[0]
    held, settled = water(hot, state)
    assert settled > 0.03
    assert held + settled + 0.018015 * left_mol == pytest.approx(
        held0 + 7.2 * 0.018015, rel=1e-4
    )


def test_a_surface_dries_again_and_what_ran_down_does_not_come_back():
    """Film goes back into dry air; a film above 50 g/m2 has run down for good."""
    outside = OutsideAir(-9.0)
    soaked = outdoor_state(LAPWING, outside, 15.0)
    soaked = ZoneState(*fractions(soaked), 15.0, (0.05, 0.0), 0.4)
    airing = Inputs(OutsideAir(5.0, 40.0), 0.05, 1.0)
    dry = solve(LAPWING, soaked, airing, 6 * 3600.0)
    assert dry.film_kg[0] == 0.0
    assert dry.drained_kg == 0.4
    steamy = Inputs(outside, 0.004, 1.6, people=TWO)
    wet = solve(LAPWING, soaked, steamy, 6 * 3600.0)
    assert wet.film_kg[0] == pytest.approx(FILM_KG_M2 * 1.2)
    assert wet.drained_kg > 0.5


def test_coldest_surface_wets_first_and_takes_the_latent_heat_out():
    """The pane runs while the insulated wall stays dry."""
    outside = OutsideAir(-9.0)
    state = steady(LAPWING, Inputs(outside, 0.008, 0.8, people=TWO))
    assert state.film_kg[0] > 0.0 == state.film_kg[1]
    face_c = surface_c(state.temp_c, -9.0, 5.7)
    assert readings.vapour_pressure_hpa(LAPWING, state) > saturation_hpa(face_c)
    assert readings.dew_point_c(LAPWING, state) > face_c
    assert 0 < readings.rh_pct(LAPWING, state) < 100
    assert vapour_gm3(state.temp_c, readings.rh_pct(LAPWING, state)) > 3
    assert readings.co_ppm(state) == 0.0


def test_latent_heat_parts_between_room_and_outdoors():
    """Steady and wet: what walls and air carry off is what burns and what condenses.

    Water settles at the rate that a day's steps show; 2 500 kJ/kg of it come free on
    the pane, of which 1 - U x 0.13 comes back (5.7: 26 %; a wall of 1.0: 87 %).
    """
    outside = OutsideAir(-9.0)
    inputs = Inputs(outside, 0.008, 0.8, people=TWO)
    for u, back in ((5.7, 0.259), (1.0, 0.87)):
        zone = Zone(11.0, 45.0, 360e3, 1000.0, (Surface(12.0, u),))
        state = steady(zone, inputs)
        later = solve(zone, state, inputs, 3600.0)
        settled_kg_s = (water(zone, later)[1] - water(zone, state)[1]) / 3600.0
        assert settled_kg_s > 2e-6
        flame = burn(PROPANE, 0.8)
        net = flame.co2_mol_s + flame.h2o_mol_s - flame.o2_mol_s
        net += TWO.co2_mol_s + TWO.h2o_mol_s - TWO.o2_mol_s
        out = 0.008 * outside.mol_m3(1000.0) + net - settled_kg_s / 0.018015
        lost_w = (45.0 + 29.2 * out) * (state.temp_c + 9.0)
        made_w = flame.heat_lhv_w + TWO.heat_w + 2.5e6 * settled_kg_s * back
        assert lost_w == pytest.approx(made_w, rel=1e-6)
