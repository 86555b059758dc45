"""The cabin's balance against worked examples of others."""

import pytest

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.combustion import PROPANE, burn
from cabinvigil.daemon.air.zone import (
    Inputs,
    People,
    Zone,
    ZoneState,
    air_changes_per_h,
    air_m3_s,
    outdoor_state,
    solve,
    steady,
)
from tests.air.published import rows, value


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
    outside = OutsideAir(0.0, 0.0, 420.0)
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
    outside = OutsideAir(20.0, 0.0, 420.0)
    flow = air_m3_s(zone, 20.0, 20.0, 0.8)
    inputs = Inputs(outside, flow)
    assert 3600 * flow == pytest.approx(9.6)
    assert air_changes_per_h(zone, 20.0, inputs) == pytest.approx(0.8)
    clean = outdoor_state(zone, outside, 20.0)
    dirty = ZoneState(clean.n2 - 1600e-6, clean.o2, clean.co2 + 1600e-6, 0, 0, 0, 20.0)
    for row in rows("tracer_rows"):
        state = solve(zone, dirty, inputs, 60 * row["t_min"])
        assert readings.co2_ppm(state) == pytest.approx(row["ppm"], abs=0.5)
