"""What burns, what it makes and how a cylinder feeds it: from formation enthalpies.

Written apart from the daemon's air, to check it; nothing is taken from there.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

O2_KG, CO2_KG, H2O_KG, CO_KG = 0.031999, 0.04401, 0.018015, 0.02801
"""kg/mol."""
C_KG, H_KG = 0.012011, 0.001008
CO2_KJ, WATER_KJ, VAPOUR_KJ, CO_KJ = 393.51, 285.83, 241.83, 110.53
"""Heat of formation given off, kJ/mol at 25 C (CODATA key values, from memory)."""
LATENT_KJ_KG = 380.0
"""Of boiling propane or butane near 0 C (from memory, within 5 %)."""
LIQUID_KJ_KG_K = 2.4
FEED_HPA = 30.0
"""What the regulator gives over the air (EN 16129's 30 mbar class, from memory)."""


@dataclass(frozen=True)
class Gas:
    """One fuel, CxHy."""

    carbon: int
    hydrogen: int
    formation_kj: float
    """Given off when it forms from its elements, kJ/mol."""
    antoine: tuple[float, float, float]
    """Of log10 of mmHg over C (textbook coefficients, from memory; boiling points
    come out within 0.2 K)."""

    @property
    def kg_mol(self) -> float:
        return self.carbon * C_KG + self.hydrogen * H_KG

    @property
    def hhv_kj(self) -> float:
        """Heat of burning per mole, the water condensed."""
        made = self.carbon * CO2_KJ + self.hydrogen / 2.0 * WATER_KJ
        return made - self.formation_kj

    @property
    def lhv_kj(self) -> float:
        """The same, the water as vapour."""
        made = self.carbon * CO2_KJ + self.hydrogen / 2.0 * VAPOUR_KJ
        return made - self.formation_kj

    def vapour_hpa(self, temp_c: float) -> float:
        """Give the pressure of the boiling liquid."""
        a, b, c = self.antoine
        return float(1.33322 * 10.0 ** (a - b / (c + temp_c)))


GASES = {
    "propane": Gas(3, 8, 104.7, (6.80338, 804.0, 247.04)),
    "butane": Gas(4, 10, 125.7, (6.80896, 935.86, 238.73)),
    "isobutane": Gas(4, 10, 134.2, (6.74808, 882.8, 240.0)),
}


@dataclass(frozen=True)
class Flame:
    """Moles a second that a flame takes and gives."""

    fuel: float
    o2: float
    co2: float
    co: float
    h2o: float
    heat_kw: float
    """What it warms the cabin with: lower heating value, less what CO keeps."""


def burn(shares: Mapping[str, float], fuel_mol_s: float, co_share: float) -> Flame:
    """Burn a gas.

    Args:
        shares: of the gases, by moles.
        fuel_mol_s: how much.
        co_share: of the carbon that ends as carbon monoxide.
    """
    carbon = math.fsum(GASES[name].carbon * one for name, one in shares.items())
    hydrogen = math.fsum(GASES[name].hydrogen * one for name, one in shares.items())
    lhv = math.fsum(GASES[name].lhv_kj * one for name, one in shares.items())
    co = carbon * co_share
    return Flame(
        fuel_mol_s,
        fuel_mol_s * (carbon + hydrogen / 4.0 - co / 2.0),
        fuel_mol_s * (carbon - co),
        fuel_mol_s * co,
        fuel_mol_s * hydrogen / 2.0,
        fuel_mol_s * (lhv - co * (CO2_KJ - CO_KJ)),
    )


def hhv_kj_mol(shares: Mapping[str, float]) -> float:
    """Give the higher heating value of a mix by moles."""
    return math.fsum(GASES[name].hhv_kj * one for name, one in shares.items())


def kg_mol(shares: Mapping[str, float]) -> float:
    """Give the mass of a mole of a mix."""
    return math.fsum(GASES[name].kg_mol * one for name, one in shares.items())


def by_moles(masses: Mapping[str, float]) -> dict[str, float]:
    """Give shares by moles of masses."""
    moles = {name: one / GASES[name].kg_mol for name, one in masses.items()}
    total = math.fsum(moles.values())
    return {name: one / total for name, one in moles.items()}


@dataclass
class Cylinder:
    """Liquid gas that boils, cools as it does, and gives less when it is cold."""

    kg: dict[str, float]
    temp_c: float
    ua_w_k: float
    """Heat that reaches it from around, W/K: grows with its wetted wall."""

    def vapour(self) -> tuple[dict[str, float], float]:
        """Give the gas over the liquid, by moles, and its pressure (Raoult's law)."""
        liquid = by_moles(self.kg)
        parts = {
            name: one * GASES[name].vapour_hpa(self.temp_c)
            for name, one in liquid.items()
        }
        total = math.fsum(parts.values())
        return {name: one / total for name, one in parts.items()}, total

    def open_share(self, over_hpa: float) -> float:
        """Give the share of the wanted gas that comes, by the pressure over the air.

        Gas passes a jet as the root of the pressure before it (orifice equation).
        """
        return math.sqrt(min(1.0, max(0.0, over_hpa / FEED_HPA)))

    def draw(
        self, shares: Mapping[str, float], mol_s: float, dt_s: float, around_c: float
    ) -> None:
        """Take gas off and let the rest cool or warm."""
        taken = 0.0
        for name, one in shares.items():
            kg = min(self.kg[name] - 1e-6, one * mol_s * dt_s * GASES[name].kg_mol)
            self.kg[name] -= max(0.0, kg)
            taken += max(0.0, kg)
        heat_kj = self.ua_w_k / 1000.0 * (around_c - self.temp_c) * dt_s
        held = LIQUID_KJ_KG_K * math.fsum(self.kg.values()) + 2.0  # 2 kJ/K: its steel
        self.temp_c += (heat_kj - taken * LATENT_KJ_KG) / held
