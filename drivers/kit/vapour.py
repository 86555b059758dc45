"""The humidity that air of one temperature has at a surface of another."""

import math


def saturation_hpa(temp_c: float) -> float:
    """Return the pressure of saturated vapour over water.

    The Magnus formula as WMO-No. 8 has it, for -45 to 60 °C (as quoted).
    """
    return 6.112 * math.exp(17.62 * temp_c / (243.12 + temp_c))


def rh_at_surface_pct(rh_pct: float, air_c: float, surface_c: float) -> float:
    """Return the relative humidity at a surface; past 100 it is below the dew point."""
    return rh_pct * saturation_hpa(air_c) / saturation_hpa(surface_c)
