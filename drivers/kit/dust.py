"""Judging a mass of fine dust, the same for every part that counts it."""

from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import OutOfRangeError, Sample

FULL_SCALE_UGM3 = 1000.0
"""End of the specified range of these parts (SPS30 data sheet v1.0 p. 1; PMS7003 from
memory)."""
MOST_UGM3 = {"pm2_5_ugm3": 3000.0, "pm10_ugm3": 5000.0}
"""Beyond these it is no dust but a fault: well-formed frames of 3500 to 6000 in clean
air are on public record.  As `QUANTITIES` has it."""
RANGE_C = (-10.0, 60.0)
RANGE_RH_PCT = (0.0, 90.0)
"""Temperature unverified; above 90 % mist counts as dust (own figure)."""


def conditions() -> Conditions:
    """Make the memory for the air at such a part."""
    return Conditions(RANGE_C, RANGE_RH_PCT)


def dust_sample(quantity: str, value: float, air: Conditions) -> Sample:
    """Judge one mass.

    Raises:
        OutOfRangeError: more than dust can be.
    """
    if value > MOST_UGM3[quantity]:
        raise OutOfRangeError(f"it reports {value:.0f} µg/m³, more than dust can be")
    if value >= FULL_SCALE_UGM3:
        return Sample(quantity, value, "at-least", "the sensor is at full scale")
    return Sample(quantity, value, *air.quality())
