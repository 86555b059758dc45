"""Outside checks of water vapour and of the air outdoors."""

import math
from collections.abc import Iterator

import iapws
import psychrolib
from CoolProp.CoolProp import PropsSI

from cabinvigil.daemon.air import (
    atmosphere,
    breathing,
    combustion,
    moisture,
)
from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.zone import Inputs, People, Zone, outdoor_state, solve
from tests.air.outside.check import Check, row, share
from tests.air.published import value


def vapour() -> Iterator[Check]:
    psychrolib.SetUnitSystem(psychrolib.SI)
    for temp_c in (-20, 5, 25):
        published = row("psat_ashrae", t_c=temp_c)["p"]
        yield share(
            f"saturation at {temp_c} C, Pa",
            "ASHRAE Handbook 2017, ch. 1 Table 3",
            published,
            100 * moisture.saturation_hpa(temp_c),
            3e-4,
            "the Handbook claims 300 ppm for its formula",
        )
    for temp_c in (10, 30):
        yield share(
            f"saturation at {temp_c} C, Pa",
            "IAPWS-IF97 steam tables, by the iapws library",
            iapws.iapws97._PSat_T(temp_c + 273.15) * 1e6,
            100 * moisture.saturation_hpa(temp_c),
            1e-3,
            "check_values asks 0.1 %",
        )
    yield share(
        "vapour over ice at -10 C, Pa",
        "an engineering table of saturated ice",
        row("ice_pressure_toolbox", t_c=-10)["p"],
        100 * moisture.saturation_hpa(-10),
        3e-3,
        "its -20 C row stands 0.5 % above ASHRAE's",
    )
    for temp_c, rh in ((20, 60), (5, 80)):
        yield Check(
            f"dew point of {temp_c} C and {rh} %, C",
            "PsychroLib 2.5",
            psychrolib.GetTDewPointFromRelHum(temp_c, rh / 100),
            moisture.dew_point_c(temp_c, rh),
            0.05,
            "its own search stops at 0.001 K; check_values asks 0.05 K",
        )
    example = row("psychro_example1", q="enthalpy J/kg")
    ratio = psychrolib.GetHumRatioFromTWetBulb(40, 20, 101325)
    yield Check(
        "enthalpy of 40 C, wet bulb 20 C, J/kg",
        "ASHRAE Handbook 2017, ch. 1 Example 1",
        example["v"],
        moisture.enthalpy_j_kg(40, ratio),
        example["tol"],
        "read off a chart, the Handbook's own tolerance",
    )


def air_outside() -> Iterator[Check]:
    for altitude in (500, 1000):
        yield Check(
            f"standard pressure at {altitude} m, Pa",
            "ASHRAE Handbook 2017, ch. 1 Table 1",
            row("std_atm_ashrae", alt_m=altitude)["p_pa"],
            100 * atmosphere.pressure_hpa(altitude),
            2.0,
            "geometric or geopotential height",
        )
    o2_hpa = 0.20946 * atmosphere.pressure_hpa(value("o2_altitude_equal_195"))
    yield Check(
        "sea-level percent of clean air at 610 m",
        "McManus 2009, oxygen and regulatory limits",
        19.5,
        atmosphere.sea_level_equivalent_pct(o2_hpa),
        0.05,
        "the height is rounded to 10 m",
    )
    wet = OutsideAir(40.0, 100.0, 0.0, 20.946).mixture(1013.25)
    yield Check(
        "oxygen of saturated air at 40 C, %",
        "Dalton's law with IAPWS-IF97",
        20.946 * (1 - iapws.iapws97._PSat_T(313.15) * 1e6 / 101325),
        100 * wet.o2,
        0.01,
        "0.1 % of the vapour",
    )


def heats() -> Iterator[Check]:
    def boils_off(temp_c: float) -> float:
        kelvin = temp_c + 273.15
        wet, dry = (iapws.IAPWS97(T=kelvin, x=x).h for x in (0, 1))
        return float(dry - wet)

    zone, outside = Zone(10.0, 0.0, 1e6), OutsideAir(0.0, 0.0)
    state = outdoor_state(zone, outside, 0.0)
    frost = moisture.LATENT_J_KG * combustion.H2O_KG_MOL
    warmed = solve(zone, state, Inputs(outside, 0.0, people=heating(frost)), 1.0)
    yield share(
        "warmth that a mole of settling vapour frees, J",
        "IAPWS-IF97 steam tables, by the iapws library",
        1000 * boils_off(0.01) * combustion.H2O_KG_MOL,
        1e6 * (warmed.temp_c - state.temp_c),
        1e-3,
        "0.1 %, as for the pressures",
    )
    sweats = breathing.flows(breathing.Person(water_g_h=36.0))
    dry = breathing.flows(breathing.Person(water_g_h=0.0))
    yield share(
        "warmth that 36 g/h of breath and sweat take along, W",
        "IAPWS-IF97 steam tables, by the iapws library",
        boils_off(30.0) / 100,
        dry.heat_w - sweats.heat_w,
        1e-3,
        "0.1 %, as for the pressures",
    )
    psychrolib.SetUnitSystem(psychrolib.SI)
    for temp_c, ratio in ((-10.0, 0.001), (25.0, 0.010)):
        yield share(
            f"enthalpy of {temp_c:g} C with {1000 * ratio:g} g/kg, J/kg",
            "PsychroLib 2.5",
            psychrolib.GetMoistAirEnthalpy(temp_c, ratio),
            moisture.enthalpy_j_kg(temp_c, ratio),
            1e-3,
            "its constants are rounded",
        )
    # A flow that takes all the heat away: the air's own heat capacity.
    air = zone_heat_j_mol_k()
    molar = [
        PropsSI("CP0MOLAR", "T", 293.15, "P", 101325, gas) for gas in ("Air", "Water")
    ]
    yield share(
        "heat that a mole of room air takes for a kelvin, J",
        "CoolProp reference equation",
        0.98 * molar[0] + 0.02 * molar[1],
        air,
        2e-3,
        "2 % of vapour is an assumption",
    )


def heating(watts: float) -> People:
    return People(0.0, 0.0, 0.0, watts)


def zone_heat_j_mol_k() -> float:
    """What the model lets a mole of outdoor air carry out, from a settled cabin."""
    zone, outside = Zone(10.0, 0.0, 1e5), OutsideAir(0.0, 0.0)
    flow_m3_s = 0.02
    inputs = Inputs(outside, flow_m3_s, people=heating(500.0))
    state = solve(zone, outdoor_state(zone, outside, 0.0), inputs, 1e6)
    mol_s = flow_m3_s * outside.mol_m3(zone.pressure_hpa)
    return 500.0 / mol_s / (state.temp_c - 0.0)


def panes() -> Iterator[Check]:
    dew_c = moisture.dew_point_c(18.3, 50.0)
    low_c, high_c = -30.0, 18.3
    for _ in range(40):
        middle = (low_c + high_c) / 2
        dry = moisture.surface_c(18.3, middle, 6.0) > dew_c
        low_c, high_c = (low_c, middle) if dry else (middle, high_c)
    yield Check(
        "outdoors at which a single pane (U 6) mists, 18.3 C and 50 %, C",
        "an engineering chart of window condensation",
        6.0,
        low_c,
        2.0,
        "read off a chart in steps of 5 F",
    )
    yield Check(
        "pane that mists in air of 20 C and 75 %, C",
        "Cengel's textbook example [memory]",
        15.4,
        moisture.dew_point_c(20.0, 75.0),
        0.1,
        "steam table to 0.001 kPa",
    )
    yield share(
        "surface resistance inside, from a pane of 2.8 at 20 K, m2K/W",
        "ISO 6946, as a simulation program's manual tables it",
        0.13,
        (20.0 - moisture.surface_c(20.0, 0.0, 2.8)) / 20.0 / 2.8,
        1e-6,
        "two digits of a rule",
    )
    settles = moisture.condensation_kg_s(15.0, 20.0, 5.0, 1.0)
    excess_pa = 100 * (15.0 - moisture.saturation_hpa(5.0))
    yield share(
        "vapour that settles, per W/(m2 K) of convection, 1e-9 kg/(m2 s Pa)",
        "ISO 13788's kin [memory]",
        7.0,
        1e9 * settles / excess_pa / moisture.INSIDE_CONVECTION_W_M2K,
        0.10,
        "Lewis' factor is taken as 1 there, 0.9 here",
    )
    for temp_c in (-5, 25):
        found = row("humratio_ashrae", t_c=temp_c)["w"]
        yield share(
            f"vapour carried by saturated air at {temp_c} C, kg/kg",
            "ASHRAE Handbook 2017, ch. 1 Table 2",
            found,
            moisture.humidity_ratio(moisture.saturation_hpa(temp_c), 1013.25),
            0.01,
            "the enhancement factor is left out, as check_values allows",
        )
    grams = moisture.vapour_gm3(20.0, 50.0)
    yield share(
        "vapour in a cubic metre at 20 C and 50 %, g",
        "a science blog's Magnus form with 17.67 and 243.5",
        6.112 * math.exp(17.67 * 20 / 263.5) * 50 * 2.1674 / 293.15,
        grams,
        2e-3,
        "0.1 % is claimed from -30 to 35 C",
    )
    yield share(
        "saturation at 30 C, hPa",
        "Murphy and Koop 2005, as a meteorologist's page has it",
        0.01 * murphy_koop_pa(303.15),
        moisture.saturation_hpa(30.0),
        1e-3,
        "both claim better than 0.1 %",
    )


def murphy_koop_pa(kelvin: float) -> float:
    """Vapour over water, 123 to 332 K."""
    first = 54.842763 - 6763.22 / kelvin - 4.21 * math.log(kelvin) + 0.000367 * kelvin
    second = 53.878 - 1331.22 / kelvin - 9.44523 * math.log(kelvin) + 0.014025 * kelvin
    return math.exp(first + math.tanh(0.0415 * (kelvin - 218.8)) * second)
