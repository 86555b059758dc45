"""Our model's answer to each measured room of tests/data/cases/cases.toml."""

from typing import Any

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.combustion import METHANE, Fuel, burn
from cabinvigil.daemon.air.zone import (
    Inputs,
    People,
    Zone,
    ZoneState,
    outdoor_state,
    solve,
    step,
)
from tests.air.published import cases

DODECANE = Fuel("dodecane", 12, 26, -290.9)  # heat of formation from memory
ACETONE = Fuel("acetone", 3, 6, -217.1, 1)  # from memory
HEPTANE = Fuel("heptane", 7, 16, -187.8)  # from memory
LITRE_20C_MOL = 24.055


def by_source(source: str) -> list[dict[str, Any]]:
    return [case for case in cases() if case["source"] == source]


def dry_co2_pct(state: ZoneState) -> float:
    return 100 * state.co2 / (1 - state.h2o)


def at_temp(zone: Zone, state: ZoneState, temp_c: float) -> ZoneState:
    """The same air at another temperature: what swells leaves with its mixture."""
    gases = (state.n2, state.o2, state.co2, state.co, state.h2o, state.fuel)
    return ZoneState(*gases, temp_c)


def llnl(case: dict[str, Any]) -> tuple[float, float]:
    """Dry O2 and CO2 (%) of a methane burner in the test cell.

    One zone, fuel and exhaust flow as measured, dry outdoor air as the analyser read it
    at the start; the cell heats evenly from 20 °C to the measured gas temperature in
    the first tenth of the test.  Nothing is tuned.
    """
    outside = OutsideAir(20.0, 0.0, 400.0, case["o2_start_pct"])
    zone = Zone(case["volume_m3"], 0.0, 1e18)
    kw = case["fuel_g_s"] / 1000 / METHANE.kg_mol * METHANE.hhv_kj_mol
    flame = burn(METHANE, kw)
    net = flame.co2_mol_s + flame.h2o_mol_s - flame.o2_mol_s
    state = outdoor_state(zone, outside, 20.0)
    count = 100
    for i in range(count):
        temp_c = 20.0 + (case["T_C"] - 20.0) * min(1.0, 10 * (i + 0.5) / count)
        state = at_temp(zone, state, temp_c)
        kg_mol = 0.028 * state.n2 + 0.032 * state.o2 + 0.044 * state.co2
        kg_mol += 0.018 * state.h2o
        entering = max(0.0, case["exhaust_g_s"] / 1000 / kg_mol - net)
        flow = entering / outside.mol_m3(zone.pressure_hpa)
        inputs = Inputs(outside, flow, kw, METHANE)
        state = step(zone, state, inputs, case["t_s"] / count)
    return readings.o2_dry_pct(state), dry_co2_pct(state)


def prisme_inputs(case: dict[str, Any], fuel_g_s: float, inlet_m3_s: float) -> Inputs:
    kw = fuel_g_s / 1000 / DODECANE.kg_mol * DODECANE.hhv_kj_mol
    return Inputs(OutsideAir(20.0, 0.0, 400.0), max(0.0, inlet_m3_s), kw, DODECANE)


def prisme_first(case: dict[str, Any]) -> tuple[float, float]:
    """Dry O2 and CO2 (%) at mid-burn: the row's fuel and inlet held from the start."""
    zone = Zone(case["volume_m3"], 0.0, 1e18)
    inputs = prisme_inputs(case, case["fuel_g_s"], case["inlet_m3_s"])
    start = outdoor_state(zone, inputs.outside, case["T_C"])
    state = solve(zone, start, inputs, case["t_s"])
    return readings.o2_dry_pct(state), dry_co2_pct(state)


def prisme_later(first: dict[str, Any], case: dict[str, Any]) -> tuple[float, float]:
    """Fuel (g/s) that brings O2 from the first row's to this one's, and CO2 then (%).

    The rows hold no fuel history, so oxygen gives the fuel and CO2 is predicted.
    """
    zone = Zone(case["volume_m3"], 0.0, 1e18)
    inlet = (max(0.0, first["inlet_m3_s"]) + max(0.0, case["inlet_m3_s"])) / 2
    o2, co2 = first["o2_meas_pct"] / 100, first["co2_meas_pct"] / 100
    burnt = (0.2095 - o2) / (18.5 - 0.2095 * 6.5)  # moles of fuel per mole of dry gas
    wet = 13 * burnt / (1 + 13 * burnt)
    dry = 1 - wet
    start = ZoneState(
        dry * (1 - o2 - co2), dry * o2, dry * co2, 0.0, wet, 0.0, case["T_C"]
    )

    def ends(fuel_g_s: float) -> ZoneState:
        inputs = prisme_inputs(case, fuel_g_s, inlet)
        return solve(zone, start, inputs, case["t_s"] - first["t_s"])

    high = 0.25  # upwards, since far above it the flame starves and air comes back
    while readings.o2_dry_pct(ends(high)) > case["o2_meas_pct"]:
        high += 0.25
    low = high - 0.25
    for _ in range(40):
        middle = (low + high) / 2
        richer = readings.o2_dry_pct(ends(middle)) < case["o2_meas_pct"]
        low, high = (low, middle) if richer else (middle, high)
    return low, dry_co2_pct(ends(low))


def o2_of_co2(fuel: Fuel, co2_pct: float, start_pct: float = 20.95) -> float:
    """Dry O2 (%) that belongs to a dry CO2 (%), by the balance of a sealed zone."""
    outside = OutsideAir(20.0, 0.0, 400.0, start_pct)
    zone = Zone(10.0, 0.0, 1e18)
    start = outdoor_state(zone, outside, 20.0)
    low, high = 0.0, 36_000.0
    state = start
    for _ in range(50):
        middle = (low + high) / 2
        state = solve(zone, start, Inputs(outside, 0.0, 1.0, fuel), middle)
        low, high = (low, middle) if dry_co2_pct(state) > co2_pct else (middle, high)
    return readings.o2_dry_pct(state)


def co2_of_o2(fuel: Fuel, o2_pct: float) -> float:
    """Dry CO2 (%) that belongs to a dry O2 (%)."""
    low, high = 0.04, 15.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (
            (low, middle) if o2_of_co2(fuel, middle) < o2_pct else (middle, high)
        )
    return low


def office(
    case: dict[str, Any], start_ppm: float, hours: float, people: float
) -> float:
    """CO2 (ppm) in an office after hours with people, air changes as in the row."""
    zone = Zone(case["volume_m3"], 1e9, 1e9)
    outside = OutsideAir(20.0, 0.0, case["background_ppm"])
    clean = outdoor_state(zone, outside, 20.0)
    more = (start_ppm - case["background_ppm"]) / 1e6
    start = ZoneState(clean.n2 - more, clean.o2, clean.co2 + more, 0, 0, 0, 20.0)
    given = case["gen_l_h_person"] * people / LITRE_20C_MOL / 3600
    flow = case["ach_per_h"] * case["volume_m3"] / 3600
    inputs = Inputs(outside, flow, people=People(given, given, 0.0, 0.0))
    return readings.co2_ppm(solve(zone, start, inputs, 3600 * hours))


def tucholski_co_ppm() -> tuple[float, float]:
    """CO (ppm) at 15.1 % with the share of carbon that fits 24 to 27 ppm at 19.4 %."""
    zone, outside = Zone(10.0, 0.0, 1e18), OutsideAir(20.0, 0.0)
    start = outdoor_state(zone, outside, 20.0)

    def co_at(o2_pct: float, co_fraction: float) -> float:
        inputs = Inputs(outside, 0.0, 1.0, co_fraction=co_fraction)
        low, high = 0.0, 36_000.0
        state = start
        for _ in range(50):
            middle = (low + high) / 2
            state = solve(zone, start, inputs, middle)
            poorer = readings.o2_dry_pct(state) < o2_pct
            low, high = (low, middle) if poorer else (middle, high)
        return 1e6 * state.co / (1 - state.h2o)

    per_share = co_at(19.4, 0.001) / 0.001
    return co_at(15.1, 24 / per_share), co_at(15.1, 27 / per_share)
