"""Water vapour: saturation, dew point, vapour content, and what runs down the glass.

Formulas of Hyland and Wexler (1983), the ones of the ASHRAE Handbook; hPa and °C.
Left out, and to be said wherever a humidity is told: bedding, wood and clothes take
up and give back vapour (sorption), which houses show to matter (cases.md, S17, S20).
"""

import math

VAPOUR_GAS_CONSTANT_J_KG_K = 461.523
"""Of water vapour (IAPWS)."""
LATENT_J_KG = 2.5e6
"""Heat of condensation near 0 °C (IAPWS-IF97: 2 501 kJ/kg)."""
INSIDE_RESISTANCE_M2K_W = 0.13
"""Surface resistance inside, heat flowing sideways (ISO 6946, as a program's manual
tables it)."""
INSIDE_CONVECTION_W_M2K = 3.0
"""Convective share of it in still room air: between the 2.5 of ISO 6946 and the 3.6
of EN 673 (both unverified)."""
LEWIS_FACTOR = 0.9
"""Le to the two thirds for water vapour in air (common practice, no source)."""
AIR_J_M3_K = 1206.0
"""Heat capacity of room air, 1.20 kg/m3 times 1 005 J/(kg K)."""


def saturation_over_water_hpa(temp_c: float) -> float:
    """Return the saturation pressure over liquid water, super-cooled below 0 °C."""
    t = temp_c + 273.15
    return 0.01 * math.exp(
        -5800.2206 / t
        + 1.3914993
        + t * (-0.048640239 + t * (4.1764768e-5 - 1.4452093e-8 * t))
        + 6.5459673 * math.log(t)
    )


def saturation_over_ice_hpa(temp_c: float) -> float:
    """Return the saturation pressure over ice, for temperatures below 0 °C."""
    t = temp_c + 273.15
    high = t * (2.0747825e-9 - 9.484024e-13 * t)
    return 0.01 * math.exp(
        -5674.5359 / t
        + 6.3925247
        + t * (-0.009677843 + t * (6.2215701e-7 + high))
        + 4.1635019 * math.log(t)
    )


def saturation_hpa(temp_c: float) -> float:
    """Return the vapour pressure at which a surface of this temperature gets wet.

    Over ice below 0 °C, since there it gets white.
    """
    if temp_c < 0.0:
        return saturation_over_ice_hpa(temp_c)
    return saturation_over_water_hpa(temp_c)


def vapour_hpa(temp_c: float, rh_pct: float) -> float:
    """Return the vapour pressure of air whose humidity is stated over water."""
    return saturation_over_water_hpa(temp_c) * rh_pct / 100.0


def rh_pct(temp_c: float, vapour_pressure_hpa: float) -> float:
    """Return the relative humidity over water."""
    return 100.0 * vapour_pressure_hpa / saturation_over_water_hpa(temp_c)


def dew_point_of_hpa(vapour_pressure_hpa: float) -> float:
    """Return the temperature at which surfaces get wet, or white below 0 °C.

    Raises:
        ValueError: where there is no vapour at all.
    """
    if vapour_pressure_hpa <= 0.0:
        raise ValueError(
            f"a vapour pressure of {vapour_pressure_hpa} hPa has no dew point: "
            "give one above 0"
        )
    log_e = math.log(vapour_pressure_hpa)
    # The Magnus form (WMO-No. 8, as quoted) starts within 0.5 K; Newton on the
    # logarithm, whose slope is near L / (R T^2), then doubles the digits each time.
    share = log_e - math.log(6.112)
    temp_c = max(-95.0, 243.12 * share / (17.62 - share))
    for _ in range(6):
        slope = 5423.0 if temp_c >= 0.0 else 6140.0
        gap = log_e - math.log(saturation_hpa(temp_c))
        temp_c += gap * (temp_c + 273.15) ** 2 / slope
        if abs(gap) < 1e-10:
            break
    return temp_c


def dew_point_c(temp_c: float, rh_pct: float) -> float:
    """Return the dew point of air, below 0 °C its frost point."""
    return dew_point_of_hpa(vapour_hpa(temp_c, rh_pct))


def vapour_gm3(temp_c: float, rh_pct: float) -> float:
    """Return the grams of water vapour in a cubic metre."""
    kelvin = temp_c + 273.15
    return 1e5 * vapour_hpa(temp_c, rh_pct) / (VAPOUR_GAS_CONSTANT_J_KG_K * kelvin)


def humidity_ratio(vapour_pressure_hpa: float, pressure_hpa: float) -> float:
    """Return the kilograms of vapour carried by a kilogram of dry air."""
    return 0.621945 * vapour_pressure_hpa / (pressure_hpa - vapour_pressure_hpa)


def enthalpy_j_kg(temp_c: float, ratio: float) -> float:
    """Return the heat content of moist air per kilogram dry, from 0 °C and liquid.

    1 006 t + w (2 501 000 + 1 860 t): ASHRAE Handbook, Fundamentals, by PsychroLib.
    """
    return 1006.0 * temp_c + ratio * (2_501_000.0 + 1860.0 * temp_c)


def surface_c(inside_c: float, outside_c: float, u_w_m2k: float) -> float:
    """Return the inner face's temperature of a wall or pane of this U-value.

    No face is colder than outdoors under a warm room, whatever U-value was stated.
    """
    share = min(1.0, u_w_m2k * INSIDE_RESISTANCE_M2K_W)
    return inside_c - share * (inside_c - outside_c)


def mass_transfer_m_s() -> float:
    """Return the speed at which still room air hands vapour to a surface (Lewis)."""
    return INSIDE_CONVECTION_W_M2K / (AIR_J_M3_K * LEWIS_FACTOR)


def condensation_kg_s(
    vapour_pressure_hpa: float, air_c: float, face_c: float, area_m2: float
) -> float:
    """Return the water that settles on a surface; negative where a wet one dries."""
    excess_hpa = vapour_pressure_hpa - saturation_hpa(face_c)
    kelvin = air_c + 273.15
    density = 100.0 * excess_hpa / (VAPOUR_GAS_CONSTANT_J_KG_K * kelvin)
    return mass_transfer_m_s() * area_m2 * density
