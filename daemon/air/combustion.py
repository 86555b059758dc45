"""Burning: what a flame takes from the air and gives to it.

`C_a H_b O_o + (a + b/4 - o/2) O2 -> a CO2 + b/2 H2O`, and where a share of the carbon
leaves as CO, half a molecule of O2 less for each.  Heat is told on the higher heating
value (the water condensed: how heaters are rated here) and on the lower (the water
left as vapour: what warms the air), by name, so that nobody mixes them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

# Atomic masses, g/mol (IUPAC, abridged).
_CARBON, _HYDROGEN, _OXYGEN = 12.011, 1.008, 15.999
# Heats of formation at 25 °C, kJ/mol: the Active Thermochemical Tables' values that
# check_values, `fuel_heats`, names; of CO from the same tables.
_CO2_KJ_MOL, _VAPOUR_KJ_MOL, _WATER_KJ_MOL = -393.474, -241.822, -285.825
_CO_KJ_MOL = -110.525
CO_HEAT_KJ_MOL = _CO_KJ_MOL - _CO2_KJ_MOL
"""Heat that stays unreleased in a mole of CO: 282.9."""

O2_KG_MOL = 2 * _OXYGEN / 1000
CO2_KG_MOL = (_CARBON + 2 * _OXYGEN) / 1000
H2O_KG_MOL = (2 * _HYDROGEN + _OXYGEN) / 1000


@dataclass(frozen=True)
class Fuel:
    """A gas, or a mix of gases as one average molecule."""

    name: str
    carbon: float
    """Atoms in the (average) molecule."""
    hydrogen: float
    formation_kj_mol: float
    """Heat of formation of the gas at 25 °C."""
    oxygen: float = 0.0

    @cached_property
    def kg_mol(self) -> float:
        """Molar mass."""
        grams = (
            self.carbon * _CARBON + self.hydrogen * _HYDROGEN + self.oxygen * _OXYGEN
        )
        return grams / 1000

    @cached_property
    def o2_per_mol(self) -> float:
        """Moles of O2 that a mole needs to burn wholly."""
        return self.carbon + self.hydrogen / 4 - self.oxygen / 2

    @cached_property
    def hhv_kj_mol(self) -> float:
        """Higher heating value: the water condensed."""
        products = self.carbon * _CO2_KJ_MOL + self.hydrogen / 2 * _WATER_KJ_MOL
        return self.formation_kj_mol - products

    @cached_property
    def lhv_kj_mol(self) -> float:
        """Lower heating value: the water left as vapour."""
        products = self.carbon * _CO2_KJ_MOL + self.hydrogen / 2 * _VAPOUR_KJ_MOL
        return self.formation_kj_mol - products

    @property
    def hhv_mj_kg(self) -> float:
        """Higher heating value by mass."""
        return self.hhv_kj_mol / self.kg_mol / 1000

    @property
    def lhv_mj_kg(self) -> float:
        """Lower heating value by mass."""
        return self.lhv_kj_mol / self.kg_mol / 1000

    @property
    def o2_per_co2(self) -> float:
        """Oxygen used for each CO2 made: the slope that ties the two sensors."""
        return self.o2_per_mol / self.carbon


# Heats of formation: as above (check_values `fuel_heats`; isobutane and methane from
# the same tables).
METHANE = Fuel("methane", 1, 4, -74.534)
PROPANE = Fuel("propane", 3, 8, -104.390)
N_BUTANE = Fuel("butane", 4, 10, -125.850)
ISOBUTANE = Fuel("isobutane", 4, 10, -135.360)
FUELS: Mapping[str, Fuel] = {
    fuel.name: fuel for fuel in (METHANE, PROPANE, N_BUTANE, ISOBUTANE)
}


def mix(shares: Mapping[str, float], by: str = "mole") -> Fuel:
    """Make one average fuel of several.

    Args:
        shares: by name of `FUELS`; they are scaled to sum to 1.
        by: `mole` (as gas) or `mass` (as filled into the cylinder).

    Raises:
        ValueError: an unknown gas, a negative share, or nothing to mix.
    """
    unknown = sorted(set(shares) - set(FUELS))
    if unknown:
        raise ValueError(f"no gas named {unknown[0]!r}: one of {', '.join(FUELS)}")
    if any(share < 0 for share in shares.values()) or math.fsum(shares.values()) <= 0:
        raise ValueError("the shares of a mix are 0 or more, and one is above 0")
    moles = {
        name: share / (FUELS[name].kg_mol if by == "mass" else 1.0)
        for name, share in shares.items()
    }
    total = math.fsum(moles.values())
    parts = [(moles[name] / total, FUELS[name]) for name in moles]
    return Fuel(
        "+".join(name for name in moles if moles[name] > 0),
        math.fsum(share * fuel.carbon for share, fuel in parts),
        math.fsum(share * fuel.hydrogen for share, fuel in parts),
        math.fsum(share * fuel.formation_kj_mol for share, fuel in parts),
    )


@dataclass(frozen=True, slots=True)
class Flows:
    """What a flame takes and gives each second; every figure is 0 or more."""

    fuel_mol_s: float
    """Fuel burnt."""
    o2_mol_s: float
    """Oxygen used."""
    co2_mol_s: float
    co_mol_s: float
    h2o_mol_s: float
    heat_hhv_w: float
    """Heat, had the water condensed."""
    heat_lhv_w: float
    """Heat that warms the air, the water left as vapour."""


def burn(fuel: Fuel, power_kw_hhv: float, co_fraction: float = 0.0) -> Flows:
    """Burn fuel at a power.

    Args:
        fuel: what burns.
        power_kw_hhv: the gas used, on the higher heating value.
        co_fraction: share of the fuel's carbon that leaves as CO, 0 to 1.
    """
    rate = power_kw_hhv / fuel.hhv_kj_mol
    co = rate * fuel.carbon * co_fraction
    lost_w = 1000 * co * CO_HEAT_KJ_MOL
    return Flows(
        rate,
        rate * fuel.o2_per_mol - co / 2,
        rate * fuel.carbon - co,
        co,
        rate * fuel.hydrogen / 2,
        1000 * power_kw_hhv - lost_w,
        1000 * rate * fuel.lhv_kj_mol - lost_w,
    )


def power_kw_hhv(fuel: Fuel, kg_h: float) -> float:
    """Return the power of a mass flow, on the higher heating value."""
    return kg_h / 3.6 * fuel.hhv_mj_kg
