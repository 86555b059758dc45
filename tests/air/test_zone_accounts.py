"""The cabin's balance: every atom and joule, and an independent solver."""

import math

import pytest
from scipy.integrate import solve_ivp

from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.combustion import PROPANE, burn
from cabinvigil.daemon.air.zone import (
    Inputs,
    moles,
    outdoor_state,
    solve,
)
from tests.air.zones import BARE, GASES, TWO, fractions


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
