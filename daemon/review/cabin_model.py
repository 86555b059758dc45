"""What the cabin would settle at with other air or another flame: the air model."""

from dataclasses import dataclass

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.breathing import Person, together
from cabinvigil.daemon.air.cabin import Inputs, cabin_zone
from cabinvigil.daemon.air.figures import CLEAN_CO_FRACTION, glass_u
from cabinvigil.daemon.air.moisture import dew_point_of_hpa, surface_c
from cabinvigil.daemon.air.zone import NoSteadyStateError, steady
from cabinvigil.daemon.review.cabin_facts import CabinFacts

LEAST_VAPOUR_HPA = 1e-3
"""Drier air has no dew point that anybody asks for; a log may say 0 % outdoors."""


@dataclass(frozen=True, slots=True)
class SettlingCase:
    """What acts on the cabin, as the night showed it, or changed."""

    air_m3_h: float
    """Outdoor air, by its volume outdoors."""
    burner_kw: float
    people: float
    outside_c: float
    co_fraction: float = CLEAN_CO_FRACTION


@dataclass(frozen=True, slots=True)
class SettledCase:
    """Where it settles."""

    o2_pct: float
    co2_ppm: float
    co_ppm: float
    temp_c: float
    dew_point_c: float
    glass_c: float


def settled(facts: CabinFacts, way: SettlingCase) -> SettledCase | None:
    """Return where the cabin settles: as `plan` has it, with this much air.

    Returns:
        None where it settles nowhere, or its volume is unknown.
    """
    if facts.volume_m3 is None or way.air_m3_h <= 0.0:
        return None
    zone = cabin_zone(
        facts.volume_m3,
        facts.pressure_hpa,
        wall_w_k=facts.wall_w_k,
        glass_u_w_m2k=facts.glass_u_w_m2k,
    )
    outside = OutsideAir(way.outside_c, facts.outside_rh_pct, facts.outdoor_co2_ppm)
    inputs = Inputs(
        outside,
        way.air_m3_h / 3600.0,
        way.burner_kw,
        facts.fuel,
        way.co_fraction,
        people=together(way.people, Person()),
    )
    try:
        state = steady(zone, inputs)
    except NoSteadyStateError:
        return None
    vapour_hpa = max(readings.vapour_pressure_hpa(zone, state), LEAST_VAPOUR_HPA)
    return SettledCase(
        readings.o2_pct(state),
        readings.co2_ppm(state),
        readings.co_ppm(state),
        state.temp_c,
        dew_point_of_hpa(vapour_hpa),
        surface_c(state.temp_c, way.outside_c, glass_u(facts.glass_u_w_m2k)),
    )
