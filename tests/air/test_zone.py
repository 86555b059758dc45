"""The cabin's balance: closed forms, an independent solver, and what always holds."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir, pressure_hpa
from cabinvigil.daemon.air.combustion import FUELS, PROPANE, burn
from cabinvigil.daemon.air.moisture import saturation_hpa, surface_c, vapour_gm3
from cabinvigil.daemon.air.surfaces import FILM_KG_M2
from cabinvigil.daemon.air.zone import (
    Inputs,
    NoSteadyStateError,
    People,
    Surface,
    Zone,
    ZoneState,
    air_changes_per_h,
    air_m3_s,
    moles,
    outdoor_state,
    solve,
    steady,
    step,
)
from tests.air.published import rows, value

GASES = ("n2", "o2", "co2", "co", "h2o", "fuel")
TWO = People(3.6e-4, 3.07e-4, 9.2e-4, 124.0)
"""Two sleepers, near breathing.together(2, Person())."""
SHELL = (Surface(1.2, 5.7), Surface(28.0, 1.3))
LAPWING = Zone(11.0, 45.0, 360e3, pressure_hpa(640), SHELL)
BARE = Zone(11.0, 45.0, 360e3, pressure_hpa(640))


def people(count):
    return People(*(count * x for x in (1.8e-4, 1.5e-4, 4.6e-4, 62.0)))


def fractions(state: ZoneState) -> list[float]:
    return [getattr(state, gas) for gas in GASES]


@st.composite
def cabins(draw, surfaces=False, sealed=True):
    shell = ()
    if surfaces:
        shell = (
            Surface(draw(st.floats(0.1, 5)), draw(st.floats(1, 6))),
            Surface(draw(st.floats(1, 40)), draw(st.floats(0.3, 2))),
        )
    volume = draw(st.floats(2, 60))
    zone = Zone(
        volume,
        draw(st.floats(5, 200)),
        draw(st.floats(20e3, 2e6)),
        draw(st.floats(600, 1050)),
        shell,
    )
    outside = OutsideAir(
        draw(st.floats(-35, 25)), draw(st.floats(1, 100)), draw(st.floats(350, 1500))
    )
    inputs = Inputs(
        outside,
        draw(st.floats(0.0 if sealed else 0.002, 0.1)),
        draw(st.floats(0, 0.3)) * volume,
        draw(st.sampled_from(list(FUELS.values()))),
        draw(st.floats(0, 0.2)),
        draw(st.floats(0, 1e-3)),
        people(draw(st.floats(0, 4))),
    )
    return zone, inputs, outdoor_state(zone, outside, draw(st.floats(-20, 30)))


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


def carried_out(zone, start, inputs, hours):
    """Moles of each gas that leave: 40-point Gauss-Legendre over the exact course."""
    from numpy.polynomial.legendre import leggauss

    total = [0.0] * len(GASES)
    entering = inputs.air_m3_s * inputs.outside.mol_m3(zone.pressure_hpa)
    flame = burn(inputs.fuel, inputs.burner_kw_hhv, inputs.co_fraction)
    made = (
        flame.co2_mol_s + flame.co_mol_s + flame.h2o_mol_s - flame.o2_mol_s
        + inputs.people.co2_mol_s + inputs.people.h2o_mol_s - inputs.people.o2_mol_s
        + inputs.leak_mol_s
    )  # fmt: skip
    seconds = 3600.0 * hours
    for node, weight in zip(*leggauss(40), strict=True):
        at = seconds * (float(node) + 1) / 2
        state = solve(zone, start, inputs, at)
        eps = 0.5
        ahead = solve(zone, state, inputs, eps)
        behind = solve(zone, start, inputs, at - eps)
        swelling = (moles(zone, ahead.temp_c) - moles(zone, behind.temp_c)) / (2 * eps)
        leaving = entering + made - swelling
        for i, x in enumerate(fractions(state)):
            total[i] += float(weight) * seconds / 2 * leaving * x
    return total


@pytest.mark.parametrize("co_fraction", [0.0, 0.05])
def test_every_atom_is_accounted_for(co_fraction):
    """Carbon, hydrogen, oxygen and nitrogen: held + left = had + entered + burnt.

    What leaves is integrated by quadrature along the exact course of three hours of
    warming up, with a leak and two people; to 1e-9 of what passed.
    """
    outside = OutsideAir(-9.0)
    inputs = Inputs(outside, 0.012, 1.6, PROPANE, co_fraction, 2e-5, TWO)
    start = outdoor_state(BARE, outside, -9.0)
    end = solve(BARE, start, inputs, 3 * 3600.0)
    left = carried_out(BARE, start, inputs, 3)
    n0, n1 = moles(BARE, start.temp_c), moles(BARE, end.temp_c)
    entered_mol = inputs.air_m3_s * outside.mol_m3(BARE.pressure_hpa) * 3 * 3600
    entered = fractions(outdoor_state(BARE, outside, 0.0))
    fuel_mol = burn(PROPANE, 1.6, co_fraction).fuel_mol_s * 3 * 3600
    per_person = {"o2": -TWO.o2_mol_s, "co2": TWO.co2_mol_s, "h2o": TWO.h2o_mol_s}
    atoms = {  # of each gas: n2 o2 co2 co h2o fuel
        "C": (0, 0, 1, 1, 0, 3),
        "H": (0, 0, 0, 0, 2, 8),
        "O": (0, 2, 2, 1, 1, 0),
        "N": (2, 0, 0, 0, 0, 0),
    }
    for atom, counts in atoms.items():
        of = dict(zip(GASES, counts, strict=True))
        had = sum(c * n0 * x for c, x in zip(counts, fractions(start), strict=True))
        held = sum(c * n1 * x for c, x in zip(counts, fractions(end), strict=True))
        gone = sum(c * x for c, x in zip(counts, left, strict=True))
        came = sum(c * entered_mol * x for c, x in zip(counts, entered, strict=True))
        burnt = {"C": 3, "H": 8}.get(atom, 0) * fuel_mol
        leaked = of["fuel"] * 2e-5 * 3 * 3600
        people = sum(of[g] * r * 3 * 3600 for g, r in per_person.items())
        assert held + gone == pytest.approx(
            had + came + burnt + leaked + people, rel=1e-9
        ), atom


def test_energy_is_accounted_for():
    """Heat made = stored + through the walls + with the air, over four hours, to 1e-6.

    The walls' and the air's loss is integrated by fine trapezes along the course.
    """
    outside = OutsideAir(-9.0)
    inputs = Inputs(outside, 0.012, 1.6, people=TWO)
    start = outdoor_state(BARE, outside, 0.0)
    flame = burn(PROPANE, 1.6)
    made_w = flame.heat_lhv_w + TWO.heat_w
    net = flame.co2_mol_s + flame.h2o_mol_s - flame.o2_mol_s
    net += TWO.co2_mol_s + TWO.h2o_mol_s - TWO.o2_mol_s
    entering = inputs.air_m3_s * outside.mol_m3(BARE.pressure_hpa)
    lost_w_k = 45.0 + 29.2 * (entering + net)
    count, seconds = 4000, 4 * 3600.0
    temps = [
        solve(BARE, start, inputs, seconds * i / count).temp_c + 9.0
        for i in range(count + 1)
    ]
    lost_j = lost_w_k * seconds / count * (sum(temps) - (temps[0] + temps[-1]) / 2)
    stored_j = 360e3 * (temps[-1] - temps[0])
    assert stored_j + lost_j == pytest.approx(made_w * seconds, rel=1e-6)


def independent_rates(zone, inputs, seconds, start):
    """The same physics written anew: moles of each gas and kelvin, under scipy."""
    r, p = 8.314462618, 100 * zone.pressure_hpa
    out = inputs.outside
    e_out = (
        0.01
        * math.exp(  # Magnus over water, hPa -> only checked at tolerance
            math.log(611.2) + 17.62 * out.temp_c / (243.12 + out.temp_c)
        )
        * out.rh_pct
        / 100
    )
    wet = e_out * 100 / p
    y = [
        (1 - wet) * (1 - out.o2_dry_pct / 100 - out.co2_ppm / 1e6),
        (1 - wet) * out.o2_dry_pct / 100,
        (1 - wet) * out.co2_ppm / 1e6,
        0.0,
        wet,
        0.0,
    ]
    n_in = p * inputs.air_m3_s / (r * (out.temp_c + 273.15))
    fuel = inputs.burner_kw_hhv / 2219.3
    c = inputs.co_fraction
    who = inputs.people
    source = [
        0.0,
        -fuel * (5 - 1.5 * c) - who.o2_mol_s,
        3 * fuel * (1 - c) + who.co2_mol_s,
        3 * fuel * c,
        4 * fuel + who.h2o_mol_s,
        inputs.leak_mol_s,
    ]
    heat = fuel * (2043.3e3 - 3 * c * 282.9e3) + who.heat_w

    def rates(_, state):
        n, kelvin = state[:6], state[6]
        total = sum(n)
        loss = (zone.wall_w_k + 29.2 * (n_in + sum(source))) * (
            kelvin - out.temp_c - 273.15
        )
        kelvin_s = (heat - loss) / zone.heat_capacity_j_k
        leaving = n_in + sum(source) + total / kelvin * kelvin_s
        return [
            n_in * a + s - leaving * x / total
            for a, s, x in zip(y, source, n, strict=True)
        ] + [kelvin_s]

    n0 = p * zone.volume_m3 / (r * (start.temp_c + 273.15))
    first = [x * n0 for x in fractions(start)] + [start.temp_c + 273.15]
    end = solve_ivp(rates, (0, seconds), first, method="LSODA", rtol=1e-10, atol=1e-12)
    total = sum(end.y[:6, -1])
    return [float(x / total) for x in end.y[:6, -1]], float(end.y[6, -1] - 273.15)


@pytest.mark.parametrize("hours", [0.2, 1.0, 5.0])
@pytest.mark.parametrize("air", [0.0, 0.012])
def test_solution_agrees_with_scipy_on_an_independent_right_hand_side(hours, air):
    """scipy 1.17, LSODA: gases within 2e-4 or 6 ppm (its vapour is Magnus), 0.02 K."""
    outside = OutsideAir(-9.0)
    inputs = Inputs(outside, air, 0.8, co_fraction=0.01, leak_mol_s=1e-5, people=TWO)
    start = outdoor_state(BARE, outside, 5.0)
    gases, temp_c = independent_rates(BARE, inputs, 3600 * hours, start)
    ours = solve(BARE, start, inputs, 3600 * hours)
    assert fractions(ours) == pytest.approx(gases, rel=2e-4, abs=6e-6)
    assert ours.temp_c == pytest.approx(temp_c, abs=0.02)


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


def water(zone, state):
    held = 0.018015 * state.h2o * moles(zone, state.temp_c)
    return held, sum(state.film_kg) + state.drained_kg


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
        return state.co2 / (1 - state.h2o) - 420e-6

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


def test_humidity_alone_lowers_oxygen():
    """check_values `o2_wet_air`: saturated air at 40 °C shows 19.4 %, none used."""
    for row in rows("o2_wet_air"):
        air = OutsideAir(row["t_c"], row["rh"], 0.0, value("o2_dry_air_machta"))
        assert 100 * air.mixture(1013.25).o2 == pytest.approx(row["o2"], abs=0.005)


def test_sealed_worked_example():
    """check_values `sealed_space_o2_fall`: 10 m3, 1.00 kW on the lower value, 37.9 min.

    20 °C held, dry air of 20.946 %, displacement counted.
    """
    row = rows("sealed_space_o2_fall")[1]
    zone = Zone(10.0, 0.0, 1e15)
    outside = OutsideAir(20.0, 0.0, 0.0, 20.946)
    kw = PROPANE.hhv_kj_mol / PROPANE.lhv_kj_mol
    minutes = row["t_to_19_5_min"]
    at = solve(
        zone, outdoor_state(zone, outside, 20.0), Inputs(outside, 0, kw), 60 * minutes
    )
    assert readings.o2_pct(at) == pytest.approx(19.5, abs=0.005)
    soon = solve(zone, outdoor_state(zone, outside, 20.0), Inputs(outside, 0, kw), 36.0)
    slope = (readings.o2_pct(soon) - 20.946) * 100
    assert slope == pytest.approx(row["slope_pct_per_h"], rel=5e-3)


@pytest.mark.parametrize("row", rows("people_two_asleep"), ids=str)
def test_two_asleep_worked_example(row):
    """check_values: 0.0031 L/s each, outdoor 420 ppm; within 1 ppm, no vapour."""
    zone = Zone(11.0, 1e6, 1e6)
    outside = OutsideAir(0.0, 0.0)
    flow = row["q_m3_h"] / 3600
    co2 = 2 * 0.0031 / 22.414
    people = People(co2, co2, 0.0, 0.0)
    state = steady(zone, Inputs(outside, flow, people=people))
    assert readings.co2_ppm(state) == pytest.approx(row["co2_ppm"], abs=1.5)


@pytest.mark.parametrize("row", rows("people_and_heater_o2"), ids=str)
def test_two_asleep_and_a_heater_worked_example(row):
    """check_values: simple loss at 20 °C, 211.9 + 26.3 L/h of oxygen; ours is lower.

    The simple sum leaves out that burning adds gas: 2 mol for each of fuel, dry and
    wet; the difference is what that adds, and never the other way.
    """
    zone = Zone(11.0, 1e6, 1e6)
    outside = OutsideAir(20.0, 0.0, 420.0, 20.946)
    flow = row["q_m3_h"] / 3600
    people = People(26.3 / 24.055 / 3600, 0.85 * 26.3 / 24.055 / 3600, 0.0, 0.0)
    kw = PROPANE.hhv_kj_mol / PROPANE.lhv_kj_mol
    state = steady(zone, Inputs(outside, flow, kw, people=people))
    fuel = burn(PROPANE, kw).fuel_mol_s
    swelling = 20.946 * 2 * fuel / (flow * 41.57)
    ours = readings.o2_pct(state)
    assert row["o2_pct"] - 1.3 * swelling < ours < row["o2_pct"]
    dry_o2 = (0.20946 * flow * 41.57 - 5 * fuel - people.o2_mol_s) / (
        flow * 41.57 - 2 * fuel - 0.15 * people.o2_mol_s
    )
    assert readings.o2_dry_pct(state) == pytest.approx(100 * dry_o2, abs=0.005)


def test_tracer_decays_at_the_air_change_rate():
    """check_values `tracer_rows`: 0.80 air changes an hour, rows within 0.5 ppm."""
    zone = Zone(12.0, 1e6, 1e6)
    outside = OutsideAir(20.0, 0.0)
    flow = air_m3_s(zone, 20.0, 20.0, 0.8)
    inputs = Inputs(outside, flow)
    assert 3600 * flow == pytest.approx(9.6)
    assert air_changes_per_h(zone, 20.0, inputs) == pytest.approx(0.8)
    clean = outdoor_state(zone, outside, 20.0)
    dirty = ZoneState(clean.n2 - 1600e-6, clean.o2, clean.co2 + 1600e-6, 0, 0, 0, 20.0)
    for row in rows("tracer_rows"):
        state = solve(zone, dirty, inputs, 60 * row["t_min"])
        assert readings.co2_ppm(state) == pytest.approx(row["ppm"], abs=0.5)


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
