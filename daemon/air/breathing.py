"""What a person takes from the air and gives to it: oxygen, CO2, water, heat.

Energy use is the basal rate (Schofield, by sex, age and mass) times the activity;
`CO2 = RQ x energy` by Persily and de Jonge (2017).
"""

from dataclasses import dataclass
from typing import Literal

from cabinvigil.daemon.air.atmosphere import GAS_CONSTANT_J_MOL_K, ZERO_C_K
from cabinvigil.daemon.air.cabin import People
from cabinvigil.daemon.air.combustion import H2O_KG_MOL
from cabinvigil.daemon.air.figures import (
    ASLEEP_CO2_L_H,
    ASLEEP_MET,
    ASLEEP_WATER_G_H,
    AWAKE_MET,
    AWAKE_WATER_G_H,
    RESPIRATORY_QUOTIENT,
    SLEEPER_AGE_YEARS,
    SLEEPER_MASS_KG,
)

Sex = Literal["man", "woman"]

_L_S_PER_MJ_DAY = 0.000211
"""`V = RQ x BMR x M x (T/p) x 0.000211`, L/s, K, kPa (Persily and de Jonge)."""
_LATENT_J_G = 2430.0
"""Heat that a gram of water takes along from warm skin and lungs (IAPWS-IF97
at 30 °C)."""
_DAY_S = 86400.0

_SCHOFIELD: dict[Sex, tuple[tuple[float, float, float], ...]] = {
    # up to this age, a, b: MJ/day = a kg + b (check_values, `people_bmr_schofield`)
    "man": ((30, 0.063, 2.896), (60, 0.048, 3.653), (200, 0.049, 2.459)),
    "woman": ((30, 0.062, 2.036), (60, 0.034, 3.538), (200, 0.038, 2.755)),
}


@dataclass(frozen=True, slots=True)
class Person:
    """Someone in the cabin; the default is the usual sleeper (`figures`)."""

    sex: Sex = "man"
    age_years: float = SLEEPER_AGE_YEARS
    """18 or more: Schofield's equations for children are not carried here."""
    mass_kg: float = SLEEPER_MASS_KG
    met: float = ASLEEP_MET
    """Energy use in basal rates."""
    water_g_h: float = ASLEEP_WATER_G_H
    rq: float = RESPIRATORY_QUOTIENT


def awake(person: Person) -> Person:
    """Return the same person sitting quietly."""
    return Person(
        person.sex,
        person.age_years,
        person.mass_kg,
        AWAKE_MET,
        AWAKE_WATER_G_H,
        person.rq,
    )


def basal_mj_day(sex: Sex, age_years: float, mass_kg: float) -> float:
    """Return the basal metabolic rate.

    Raises:
        ValueError: below 18 years.
    """
    if age_years < 18:
        raise ValueError(f"age {age_years:g}: from 18 years; count a child as an adult")
    for until, slope, offset in _SCHOFIELD[sex]:
        if age_years < until:
            return slope * mass_kg + offset
    raise ValueError(f"age {age_years:g}: up to 200 years")


def co2_mol_s_of(basal_mj: float, met: float, rq: float) -> float:
    """Return the CO2 of a basal rate (MJ/day), an activity and a quotient."""
    # litres a second over T/p, with L kPa = J: the gas constant makes moles of it
    return rq * basal_mj * met * _L_S_PER_MJ_DAY / GAS_CONSTANT_J_MOL_K


def measured_sleeper_co2_mol_s() -> float:
    """Return the CO2 of a sleeper as measured, for an account of a night that was."""
    per_mol_m3 = GAS_CONSTANT_J_MOL_K * (ZERO_C_K + 20.0) / 101_325.0
    return ASLEEP_CO2_L_H / 3.6e6 / per_mol_m3


def flows(person: Person) -> People:
    """Return what one person takes and gives."""
    basal = basal_mj_day(person.sex, person.age_years, person.mass_kg)
    co2 = co2_mol_s_of(basal, person.met, person.rq)
    heat_w = basal * 1e6 * person.met / _DAY_S
    water_g_s = person.water_g_h / 3600.0
    return People(
        co2 / person.rq,
        co2,
        water_g_s / 1000.0 / H2O_KG_MOL,
        max(0.0, heat_w - water_g_s * _LATENT_J_G),
    )


def together(count: float, person: Person) -> People:
    """Return what several such people take and give, together."""
    one = flows(person)
    return People(
        count * one.o2_mol_s,
        count * one.co2_mol_s,
        count * one.h2o_mol_s,
        count * one.heat_w,
    )
