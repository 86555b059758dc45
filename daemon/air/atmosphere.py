"""The air outdoors: its pressure by height, its composition, dry and wet.

Percent are by volume, which for these gases is by moles.
"""

from dataclasses import dataclass

from cabinvigil.daemon.air.figures import FRESH_CO2_PPM, OUTSIDE_RH_PCT
from cabinvigil.daemon.air.moisture import vapour_hpa

GAS_CONSTANT_J_MOL_K = 8.314462618
"""Molar gas constant (exact by the SI of 2019)."""
ZERO_C_K = 273.15
"""0 °C in kelvin (SI)."""
SEA_LEVEL_HPA = 1013.25
"""Standard pressure (ISO 2533)."""

O2_DRY_PCT = 20.95
"""Oxygen in dry outdoor air.  20.946 (Machta and Hughes 1970), 20.9476 (US Standard
Atmosphere, both in check_values, section 1); the hundredth is what a cell can tell."""


def pressure_hpa(altitude_m: float) -> float:
    """Return the standard pressure at a height.

    ISO 2533 below 11 km: 288.15 K, 6.5 K/km, exponent g / (L R) = 5.25588.
    """
    return float(SEA_LEVEL_HPA * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def sea_level_equivalent_pct(o2_hpa: float) -> float:
    """Return the percent that has this oxygen partial pressure at sea level."""
    return 100.0 * o2_hpa / SEA_LEVEL_HPA


def altitude_like_m(o2_hpa: float) -> float:
    """Return the height at which dry outdoor air has this oxygen partial pressure.

    19.5 % at 2 500 m is what outdoor air holds at 3 100: `pressure_hpa` undone.
    """
    pressure = max(o2_hpa, 0.1) / (O2_DRY_PCT / 100.0)
    return float(288.15 / 0.0065 * (1.0 - (pressure / SEA_LEVEL_HPA) ** (1 / 5.25588)))


THIN_FROM_M = 1500.0
"""From here a body that comes from the lowlands notices the height in its sleep (from
memory); air that is like this height is told before bed and in the morning."""


@dataclass(frozen=True, slots=True)
class Mixture:
    """Mole fractions of the gases that the cabin's balance knows; they sum to 1."""

    n2: float
    """Nitrogen, with argon and all else that takes no part."""
    o2: float
    co2: float
    co: float
    h2o: float
    fuel: float


@dataclass(frozen=True, slots=True)
class OutsideAir:
    """Outdoor air as a weather report gives it."""

    temp_c: float
    rh_pct: float = OUTSIDE_RH_PCT
    """Relative humidity over water, below freezing too, as weather services and
    sensors give it (WMO-No. 8, unverified)."""
    co2_ppm: float = FRESH_CO2_PPM
    """Of the dry air."""
    o2_dry_pct: float = O2_DRY_PCT

    def mixture(self, pressure_hpa: float) -> Mixture:
        """Return its wet composition at this pressure."""
        wet = vapour_hpa(self.temp_c, self.rh_pct) / pressure_hpa
        dry = 1.0 - wet
        o2 = dry * self.o2_dry_pct / 100.0
        co2 = dry * self.co2_ppm / 1e6
        return Mixture(dry - o2 - co2, o2, co2, 0.0, wet, 0.0)

    def mol_m3(self, pressure_hpa: float) -> float:
        """Return its molar density."""
        kelvin = self.temp_c + ZERO_C_K
        return 100.0 * pressure_hpa / (GAS_CONSTANT_J_MOL_K * kelvin)
