"""Outside checks of gases that burn, and of their liquids."""

from collections.abc import Iterator
from dataclasses import replace

import chemicals
from CoolProp.CoolProp import PropsSI

from cabinvigil.daemon.air import (
    breathing,
    combustion,
    cylinder,
)
from tests.air.outside.check import Check, row, share


def burning() -> Iterator[Check]:
    fuels = combustion.FUELS
    cas = {"propane": "74-98-6", "butane": "106-97-8", "isobutane": "75-28-5"}
    water = chemicals.Hfl("7732-18-5", method="CRC")
    co2 = chemicals.Hfg("124-38-9", method="CRC")
    for name, number in cas.items():
        fuel = replace(fuels[name])  # anew, since it keeps what it has worked out
        formed = chemicals.Hfg(number, method="CRC")
        heat = (formed - fuel.carbon * co2 - fuel.hydrogen / 2 * water) / 1000
        yield share(
            f"{name}, heat of burning (HHV), kJ/mol",
            "CRC Handbook, by the chemicals library",
            heat,
            fuel.hhv_kj_mol,
            1e-3,
            "the heats of formation differ by up to 1.2 kJ/mol between tables",
        )
    for name, key in (("propane", "propane"), ("butane", "n-butane")):
        table = row("fuel_heats_table", fuel=key)
        yield share(
            f"{name}, lower heating value, MJ/kg",
            "property tables of the trade",
            table["lhv"],
            replace(fuels[name]).lhv_mj_kg,
            3e-3,
            "rounding, and older heats of formation",
        )
    yield share(
        "commercial propane, HHV, MJ/kg",
        "CAN/CGA-B149.2-M95, extract",
        row("fuel_heats_table", fuel="commercial propane (CGA)")["hhv"],
        replace(combustion.PROPANE).hhv_mj_kg,
        0.015,
        "commercial propane holds propene and butane",
    )
    flame = combustion.burn(combustion.PROPANE, 1.0)
    kg = flame.fuel_mol_s * combustion.PROPANE.kg_mol
    yield Check(
        "water from a kilogram of gas, litres",
        "New Zealand metal-roofing code of practice",
        1.6,
        flame.h2o_mol_s * combustion.H2O_KG_MOL / kg,
        0.05,
        "printed as 'up to 1.6'",
    )
    yield Check(
        "0.88 kW breathes like resting adults",
        "common practice, no source",
        11.0,
        combustion.burn(combustion.PROPANE, 0.88).o2_mol_s
        / breathing.flows(breathing.Person()).o2_mol_s,
        1.0,
        "told as 'about eleven'",
    )


def liquids() -> Iterator[Check]:
    for name, fluid in (
        ("propane", "Propane"),
        ("butane", "n-Butane"),
        ("isobutane", "IsoButane"),
    ):
        for temp_c in (-20, 0, 20):
            theirs = PropsSI("P", "T", temp_c + 273.15, "Q", 0, fluid) / 100
            yield share(
                f"{name} over its liquid at {temp_c} C, hPa",
                "CoolProp reference equation",
                theirs,
                cylinder.liquid_pressure_hpa({name: 1.0}, temp_c),
                3e-3,
                "commercial gas differs by far more",
            )
    yield Check(
        "propane boils at 1 atm, C",
        "CAN/CGA-B149.2-M95, extract",
        -42.0,
        _boils(),
        0.5,
        "printed as a whole number",
    )
    yield share(
        "a one-pound cylinder, kWh (HHV)",
        "nominal fill 16.4 oz [memory]",
        row("fuel_1lb_cylinder")["hhv_kwh"],
        0.465 * cylinder.hhv_kwh_kg(cylinder.PURE_PROPANE),
        5e-3,
        "rounding",
    )
    small = cylinder.Cylinder(0.465, 0.465)
    yield Check(
        "a one-pound cylinder at 0.88 kW in frost, h",
        "common practice, no source: 'three to four'",
        3.5,
        cylinder.hours_in_cold(small, 0.88, -12),
        1.0,
        "frost is not told; ours at -12 C; by heating value it would be 7.4 h",
    )


def _boils() -> float:
    low, high = -60.0, 0.0
    for _ in range(60):
        middle = (low + high) / 2
        boiling = cylinder.liquid_pressure_hpa(cylinder.PURE_PROPANE, middle) > 1013.25
        low, high = (low, middle) if boiling else (middle, high)
    return high


def boiling_off() -> Iterator[Check]:
    for name, fluid in (("propane", "Propane"), ("butane", "n-Butane")):
        for temp_c in (-20, 20):
            kelvin = temp_c + 273.15
            gas, liquid = (PropsSI("H", "T", kelvin, "Q", q, fluid) for q in (1, 0))
            yield share(
                f"heat that {name} takes to boil at {temp_c} C, kJ/kg",
                "CoolProp reference equation",
                (gas - liquid) / 1000,
                cylinder.boiling_kj_kg({name: 1.0}, temp_c),
                0.01,
                "Watson's rule is told to 1 % [memory]",
            )
    for temp_f, psi in ((0, 24.5), (40, 65.0), (80, 128.0)):
        temp_c = (temp_f - 32) / 1.8
        yield share(
            f"propane over its liquid at {temp_c:.0f} C, hPa",
            "gas dealers, a chart in psi",
            (psi + 14.696) * 68.9476,
            cylinder.liquid_pressure_hpa(cylinder.PURE_PROPANE, temp_c),
            0.03,
            "whole and half psi, and commercial gas",
        )
    for pounds, btu_h in ((100, 113_000), (20, 36_000)):
        full = cylinder.Cylinder(0.4536 * pounds, 45.36)
        published = btu_h * 0.293071e-3
        yield Check(
            f"a 100 lb cylinder with {pounds} lb, fed at -18 C, kW",
            "gas dealers, vaporisation table of 100 lb cylinders",
            published,
            cylinder.fed_kw(full, -17.8),
            0.2 * published,
            "told as approximate; two pages have the same figures",
            "below",
            "ours waits for still air and pure boiling: less power is the safe side",
        )
    yield share(
        "heat of propane, MJ/kg (HHV)",
        "gas dealers, 21 548 Btu/lb",
        21_548 * 2.326e-3,
        replace(combustion.PROPANE).hhv_mj_kg,
        0.005,
        "two dealers differ by 0.2 %",
    )
    yield share(
        "air that burns a volume of propane, volumes",
        "gas dealers, 23.86",
        23.86,
        replace(combustion.PROPANE).o2_per_mol / 0.2095,
        0.015,
        "another has 23.5",
    )
    flame = combustion.burn(combustion.PROPANE, 1.0)
    yield share(
        "CO2 of a kilowatt hour of propane, g (HHV)",
        "Rising et al. 2017, room calorimeter",
        row("fuel_products_per_kwh", fuel="propane", basis="HHV")["co2_g"]
        * (1 - 0.015),
        flame.co2_mol_s * combustion.CO2_KG_MOL * 3.6e6,
        0.024,
        "one sd: they found 1.5 +/- 2.4 % less than stoichiometry gives",
    )
    yield share(
        "water of a kilowatt hour of butane, g (HHV)",
        "computed apart: Active Thermochemical Tables",
        row("fuel_products_per_kwh", fuel="n-butane", basis="HHV")["h2o_g"],
        combustion.burn(combustion.N_BUTANE, 1.0).h2o_mol_s
        * combustion.H2O_KG_MOL
        * 3.6e6,
        0.005,
        "check_values asks 0.5 %",
    )
    flame = combustion.burn(combustion.PROPANE, 0.5)
    yield Check(
        "gas used for a litre of condensate, kg",
        "a boat magazine's 1.6 litres a kilogram",
        1 / 1.6,
        flame.fuel_mol_s
        * combustion.PROPANE.kg_mol
        / (flame.h2o_mol_s * combustion.H2O_KG_MOL),
        0.02,
        "two digits",
    )
