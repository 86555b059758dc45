"""The cabin's balance: what always holds, whatever burns, leaks and breathes."""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir, pressure_hpa
from cabinvigil.daemon.air.combustion import burn
from cabinvigil.daemon.air.zone import (
    Inputs,
    People,
    Zone,
    ZoneState,
    moles,
    outdoor_state,
    solve,
    step,
)
from tests.air.zones import BARE, TWO, cabins, fractions


@settings(max_examples=60, deadline=None, derandomize=True)
@given(cabins(surfaces=True), st.floats(0.1, 3600))
def test_fractions_sum_to_one_and_no_gas_is_negative(cabin, dt_s):
    """Whatever burns, leaks, breathes and settles, for a hundred steps."""
    zone, inputs, state = cabin
    for _ in range(100):
        state = step(zone, state, inputs, dt_s)
        assert sum(fractions(state)) == pytest.approx(1.0, abs=1e-9)
        assert min(fractions(state)) >= 0.0
        assert min(state.film_kg) >= 0.0


@settings(max_examples=50, deadline=None, derandomize=True)
@given(cabins(), st.floats(10, 36_000))
def test_two_half_steps_make_one(cabin, dt_s):
    """Exact between events: the split of a stretch does not matter, sealed or not."""
    zone, inputs, start = cabin
    whole = solve(zone, start, inputs, dt_s)
    flame = burn(inputs.fuel, inputs.burner_kw_hhv, inputs.co_fraction)
    used = (flame.o2_mol_s + inputs.people.o2_mol_s) * dt_s
    assume(used < 0.12 * moles(zone, 60.0))  # no flame starves on the way
    half = solve(zone, solve(zone, start, inputs, dt_s / 2), inputs, dt_s / 2)
    drawn_in = start.temp_c > inputs.outside.temp_c  # short steps there: not exact
    tolerance = 2e-3 if drawn_in else 1e-9
    assert half.temp_c == pytest.approx(whole.temp_c, rel=1e-9, abs=1e-7)
    assert fractions(half) == pytest.approx(fractions(whole), rel=tolerance, abs=1e-12)


def test_short_steps_and_one_long_step_agree():
    """A thousand seconds in one, in a hundred, in a thousand steps: the same air."""
    outside = OutsideAir(-9.0)
    inputs = Inputs(outside, 0.01, 1.0, people=TWO)
    start = outdoor_state(BARE, outside, 4.0)
    once = step(BARE, start, inputs, 1000.0)
    for count in (100, 1000):
        state = start
        for _ in range(count):
            state = step(BARE, state, inputs, 1000.0 / count)
        assert fractions(state) == pytest.approx(fractions(once), rel=1e-10, abs=1e-14)
        assert state.temp_c == pytest.approx(once.temp_c, rel=1e-10)


def test_pressure_of_oxygen_moves_with_height():
    """Same percent, less oxygen: at 2 500 m the cell sees a quarter less."""
    high = Zone(11.0, 45.0, 360e3, pressure_hpa(2500))
    sea = Zone(11.0, 45.0, 360e3)
    outside = OutsideAir(10.0, 0.0)
    state = outdoor_state(sea, outside, 10.0)
    assert readings.o2_hpa(high, state) / readings.o2_hpa(sea, state) == pytest.approx(
        pressure_hpa(2500) / 1013.25
    )


def test_a_leak_displaces_oxygen_without_carbon_dioxide():
    """Unburnt gas: O2 falls by what it displaces, CO2 falls with it."""
    outside = OutsideAir(-9.0)
    start = outdoor_state(BARE, outside, 10.0)
    state = solve(BARE, start, Inputs(outside, 0.001, leak_mol_s=5e-4), 7200.0)
    assert state.fuel > 0.005
    assert state.o2 / start.o2 == pytest.approx(1 - state.fuel, rel=1e-3)
    assert state.co2 < start.co2


def test_a_shut_cabin_breathes_in_as_it_cools():
    """No air is let in, yet cooling draws some: the stale air thins by as much."""
    outside = OutsideAir(-20.0, 50.0)
    fresh = outdoor_state(BARE, outside, 30.0)
    stale = ZoneState(
        fresh.n2, fresh.o2 - 0.02, fresh.co2 + 0.02, 0, fresh.h2o, 0, 30.0
    )
    state = solve(BARE, stale, Inputs(outside), 8 * 3600.0)
    assert state.temp_c < -15
    drawn = 1 - moles(BARE, 30.0) / moles(BARE, state.temp_c)
    assert fresh.o2 - state.o2 == pytest.approx(0.02 * (1 - drawn), rel=0.02)


def test_starved_flames_go_out_and_come_back_with_air():
    """Sealed, the oxygen stops at the floor and is never negative."""
    outside = OutsideAir(0.0)
    state = outdoor_state(BARE, outside, 20.0)
    state = step(BARE, state, Inputs(outside, 0.0, 3.0), 3 * 3600.0)
    assert 0.04 <= state.o2 < 0.06  # cooling down, it breathed a little in
    aired = step(BARE, state, Inputs(outside, 0.1, 3.0), 3600.0)
    assert aired.o2 > 0.1


def test_a_zone_without_walls_only_warms():
    """Perfectly insulated and sealed: all heat stays, at Q / C."""
    zone = Zone(11.0, 0.0, 1e6)
    outside = OutsideAir(0.0)
    state = step(
        zone,
        outdoor_state(zone, outside, 10.0),
        Inputs(outside, people=People(0, 0, 0, 100)),
        1000.0,
    )
    assert state.temp_c == pytest.approx(10.1)
