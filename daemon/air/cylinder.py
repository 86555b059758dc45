"""The cylinder: how long its gas lasts, and whether the cold lets it out.

Gas that leaves is boiled off the liquid and cools it.  When the liquid's pressure has
fallen to what the regulator needs, only so much more can leave as the outside air
warms back: a steady state on which the power in a cold night depends.
As a mix empties its lighter part leaves first, so its last third does worse than its
first: `hours_in_cold` follows that, `fed_kw` tells of the liquid that it is given.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from cabinvigil.daemon.air.atmosphere import SEA_LEVEL_HPA
from cabinvigil.daemon.air.combustion import FUELS

REGULATOR_NEEDS_HPA = 300.0
"""Pressure above the air's that a low-pressure regulator needs at its inlet (EN 16129,
unverified: 0.3 bar)."""
AIR_TO_CYLINDER_W_M2K = 10.0
"""Still air and radiation on painted steel (common practice, no source)."""
FILL_KG_L = 0.42
"""Filling ratio of propane, kg per litre of water capacity (49 CFR 173.304a, as
quoted; CSA B149.2 in a regulator's bulletin, read)."""
HEIGHT_PER_WIDTH = 1.6
"""Shape of the usual upright cylinder (common practice, no source)."""
STEEL_J_KG_K = 480.0
STEEL_KG_PER_KG = 1.0
"""A refillable steel cylinder weighs about as much as its gas (common practice)."""
MOST_STEPS = 2000
"""Three weeks in quarters of an hour; beyond, nothing changes within an hour."""
WATSON = 0.38
"""Exponent with which the heat of boiling falls towards the critical point (Watson)."""


@dataclass(frozen=True, slots=True)
class _Liquid:
    """One liquefied gas.

    Pressure: `ln p = a - b / (t + c)`, hPa and °C, laid through the reference
    equation's values at -30, 10 and 40 °C (check_values, `fuel_vapour_pressure`);
    within 0.6 % from -45 to 50 °C (tests/air/test_cylinder.py).
    """

    a: float
    b: float
    c: float
    boiling_kj_kg_0c: float
    """Heat of boiling at 0 °C (CoolProp's reference equations, computed)."""
    critical_c: float
    kg_l_15c: float
    """Density of the liquid (check_values, `fuel_physical`)."""
    liquid_j_kg_k: float
    """Heat capacity of the liquid at 0 °C (CoolProp, computed)."""


LIQUIDS: Mapping[str, _Liquid] = MappingProxyType(
    {
        "propane": _Liquid(16.3996, 2057.33, 259.25, 374.9, 96.7, 0.5075, 2493.0),
        "butane": _Liquid(16.0911, 2211.93, 241.69, 385.3, 152.0, 0.5843, 2312.0),
        "isobutane": _Liquid(16.0273, 2118.08, 244.32, 354.3, 134.7, 0.5629, 2283.0),
    }
)
PURE_PROPANE: Mapping[str, float] = MappingProxyType({"propane": 1.0})


@dataclass(frozen=True, slots=True)
class Cylinder:
    """A cylinder of liquefied gas."""

    gas_kg: float
    """What is in it now."""
    full_kg: float
    """What it holds when full; gives its size."""
    liquid: Mapping[str, float] = field(default_factory=lambda: PURE_PROPANE)
    """Mole shares of the liquid, by name of `LIQUIDS`, summing to 1."""


def _parts_hpa(liquid: Mapping[str, float], temp_c: float) -> dict[str, float]:
    """Return each gas's part of the pressure over a liquid (Raoult's law)."""
    at_c = max(temp_c, -90.0)
    return {
        name: share
        * math.exp(LIQUIDS[name].a - LIQUIDS[name].b / (at_c + LIQUIDS[name].c))
        for name, share in liquid.items()
    }


def liquid_pressure_hpa(liquid: Mapping[str, float], temp_c: float) -> float:
    """Return the pressure over a liquid, absolute (Raoult's law for a mix)."""
    return math.fsum(_parts_hpa(liquid, temp_c).values())


def boiled_off(
    liquid: Mapping[str, float], temp_c: float, share: float
) -> Mapping[str, float]:
    """Return the mole shares of what stays when a share of the moles boils off.

    What leaves is the vapour over the liquid, richer in the lighter gas (Rayleigh's
    distillation); small shares follow it closely.
    """
    if len(liquid) == 1:
        return liquid
    parts = _parts_hpa(liquid, temp_c)
    total = math.fsum(parts.values())
    left = {
        name: max(0.0, moles - share * parts[name] / total)
        for name, moles in liquid.items()
    }
    stays = math.fsum(left.values())
    if stays <= 0.0:
        return liquid
    return {name: moles / stays for name, moles in left.items()}


def boiling_kj_kg(liquid: Mapping[str, float], temp_c: float) -> float:
    """Return the heat that a kilogram takes to boil off (Watson's rule)."""

    def of(gas: _Liquid) -> float:
        share = (gas.critical_c - temp_c) / gas.critical_c
        return float(gas.boiling_kj_kg_0c * share**WATSON)

    return _by_mass(liquid, {name: of(LIQUIDS[name]) for name in liquid})


def _by_mass(liquid: Mapping[str, float], values: Mapping[str, float]) -> float:
    masses = {name: share * FUELS[name].kg_mol for name, share in liquid.items()}
    weighed = math.fsum(mass * values[name] for name, mass in masses.items())
    return weighed / math.fsum(masses.values())


def hhv_kwh_kg(liquid: Mapping[str, float]) -> float:
    """Return the heat in a kilogram of gas, on the higher heating value."""
    return _by_mass(liquid, {name: FUELS[name].hhv_mj_kg / 3.6 for name in liquid})


def coldest_c(liquid: Mapping[str, float], air_hpa: float = SEA_LEVEL_HPA) -> float:
    """Return the liquid's temperature below which the regulator gets too little."""
    needed = air_hpa + REGULATOR_NEEDS_HPA
    low_c, high_c = -80.0, 60.0
    for _ in range(50):
        middle = (low_c + high_c) / 2
        enough = liquid_pressure_hpa(liquid, middle) >= needed
        low_c, high_c = (low_c, middle) if enough else (middle, high_c)
    return high_c


def wetted_m2(cylinder: Cylinder) -> float:
    """Return the wall area that liquid touches: all that takes up heat in earnest."""
    volume_m3 = cylinder.full_kg / FILL_KG_L / 1000.0
    width = math.cbrt(4.0 * volume_m3 / (math.pi * HEIGHT_PER_WIDTH))
    base = math.pi / 4.0 * width**2
    density = _by_mass(
        cylinder.liquid, {name: LIQUIDS[name].kg_l_15c for name in cylinder.liquid}
    )
    height = min(cylinder.gas_kg / density / 1000.0 / base, HEIGHT_PER_WIDTH * width)
    return base + math.pi * width * height


def fed_kw(cylinder: Cylinder, air_c: float, air_hpa: float = SEA_LEVEL_HPA) -> float:
    """Return the power that the cylinder can feed for ever in this cold, on the HHV."""
    lowest_c = coldest_c(cylinder.liquid, air_hpa)
    warmed_w = AIR_TO_CYLINDER_W_M2K * wetted_m2(cylinder) * (air_c - lowest_c)
    kg_h = 3.6 * max(0.0, warmed_w) / boiling_kj_kg(cylinder.liquid, lowest_c)
    return kg_h * hhv_kwh_kg(cylinder.liquid)


def hours_at(cylinder: Cylinder, kw_hhv: float) -> float:
    """Return the hours that the gas lasts at a power, cold left aside.

    Infinite for no power.
    """
    if kw_hhv <= 0.0:
        return math.inf
    return cylinder.gas_kg * hhv_kwh_kg(cylinder.liquid) / kw_hhv


def hours_in_cold(
    cylinder: Cylinder,
    kw_hhv: float,
    air_c: float,
    air_hpa: float = SEA_LEVEL_HPA,
) -> float:
    """Return the hours until the gas is gone or the cold stops the full power.

    The liquid starts at the air's temperature and cools as it boils; steps of a
    quarter of an hour, which hours of thermal inertia allow, and longer where a small
    flame would take weeks.  Of a mix the lighter gas leaves first.
    """
    if kw_hhv <= 0.0:
        return math.inf
    needed_hpa, liquid = air_hpa + REGULATOR_NEEDS_HPA, cylinder.liquid
    draw_kg_s = kw_hhv / hhv_kwh_kg(cylinder.liquid) / 3600.0
    heat = _by_mass(liquid, {n: LIQUIDS[n].liquid_j_kg_k for n in liquid})
    steel_j_k = STEEL_J_KG_K * STEEL_KG_PER_KG * cylinder.full_kg
    gas_kg, temp_c, passed_s = cylinder.gas_kg, air_c, 0.0
    longest_s = gas_kg / draw_kg_s
    step_s = max(min(900.0, longest_s / 50.0), longest_s / MOST_STEPS)
    while passed_s < longest_s and liquid_pressure_hpa(liquid, temp_c) > needed_hpa:
        now = Cylinder(gas_kg, cylinder.full_kg, liquid)
        gain_w_k = AIR_TO_CYLINDER_W_M2K * wetted_m2(now)
        boiling_w = draw_kg_s * 1000.0 * boiling_kj_kg(liquid, temp_c)
        settles_c = air_c - boiling_w / gain_w_k
        stays = math.exp(-gain_w_k * step_s / (steel_j_k + gas_kg * heat))
        temp_c = settles_c + (temp_c - settles_c) * stays
        drawn_kg = min(draw_kg_s * step_s, gas_kg)
        if drawn_kg < gas_kg:
            liquid = boiled_off(liquid, temp_c, drawn_kg / gas_kg)
        gas_kg -= drawn_kg
        passed_s += step_s
    return min(passed_s, longest_s) / 3600.0
