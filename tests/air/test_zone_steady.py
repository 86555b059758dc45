"""The cabin's balance: where it settles, and that it says when it does not."""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.combustion import PROPANE, burn
from cabinvigil.daemon.air.zone import (
    Inputs,
    NoSteadyStateError,
    Zone,
    ZoneState,
    moles,
    steady,
    step,
)
from tests.air.zones import BARE, LAPWING, TWO, cabins, fractions


@settings(max_examples=40, deadline=None, derandomize=True)
@given(cabins(surfaces=True, sealed=False))
def test_steady_state_is_reached_from_both_sides(cabin):
    """From outdoor air and from foul hot air, long stretches end in `steady`."""
    zone, inputs, start = cabin
    try:
        settled = steady(zone, inputs)
    except NoSteadyStateError:
        return
    assume(settled.o2 > 0.06)
    assert step(zone, settled, inputs, 60.0).temp_c == pytest.approx(
        settled.temp_c, abs=1e-6
    )
    foul = ZoneState(
        settled.n2 * 0.9, max(0.06, settled.o2 - 0.05), settled.co2 + 0.02, 0.001,
        settled.h2o + 0.002, 0.0, settled.temp_c + 15, (0.01, 0.0),
    )  # fmt: skip
    foul = ZoneState(
        1 - sum(fractions(foul)[1:]), *fractions(foul)[1:], foul.temp_c, foul.film_kg
    )
    longest_s = 40 * max(
        zone.heat_capacity_j_k / zone.wall_w_k,
        moles(zone, 20) / (inputs.air_m3_s * 45),
    )
    for state in (start, foul):
        lowest = state.o2
        for _ in range(400):
            state = step(zone, state, inputs, longest_s / 400)
            lowest = min(lowest, state.o2)
        if lowest < 0.045:
            continue  # on its way the flame starved: another story
        assert state.temp_c == pytest.approx(settled.temp_c, abs=1e-3)
        assert fractions(state) == pytest.approx(fractions(settled), rel=1e-4, abs=1e-8)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(0.005, 0.05), st.floats(0.1, 1.2))
def test_doubling_the_air_halves_the_excess(air, kw):
    """Of the dry gas, at a burner's few percent of the air: within what it adds."""
    outside = OutsideAir(0.0)

    def excess(flow):
        state = steady(BARE, Inputs(outside, flow, kw))
        return state.co2 / (1 - state.h2o) - 1e-6 * outside.co2_ppm

    ratio = excess(air) / excess(2 * air)
    added = 2 * burn(PROPANE, kw).fuel_mol_s / (air * 42)
    assert ratio == pytest.approx(2.0, abs=4 * added + 1e-3)
    assert ratio > 2.0  # the fuel swells the gas and shrinks the oxygen's share


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(0.003, 0.05), st.floats(1.05, 4), st.floats(0.1, 1.2))
def test_more_air_means_more_oxygen_and_less_of_all_else(air, more, kw):
    """Monotone in the air that enters: oxygen, CO2, vapour, temperature."""
    outside = OutsideAir(-9.0)
    try:
        little = steady(LAPWING, Inputs(outside, air, kw, people=TWO))
    except NoSteadyStateError:
        return
    much = steady(LAPWING, Inputs(outside, air * more, kw, people=TWO))
    assert much.co2 < little.co2
    assert much.o2 / (1 - much.h2o) > little.o2 / (1 - little.h2o)
    assert much.h2o < little.h2o
    assert much.temp_c < little.temp_c


@pytest.mark.parametrize(
    ("zone", "inputs"),
    [
        (BARE, Inputs(OutsideAir(0.0))),
        (BARE, Inputs(OutsideAir(0.0), 0.0, 1.0)),
        (Zone(5.0, 0.0, 1e5), Inputs(OutsideAir(0.0), 0.0, 1.0)),
        (LAPWING, Inputs(OutsideAir(0.0), 0.0, 1.6, people=TWO)),
    ],
)
def test_no_steady_state_is_said(zone, inputs):
    """Nothing moves; or the oxygen is used up, also where water settles fast."""
    with pytest.raises(NoSteadyStateError):
        steady(zone, inputs)
