"""What the cabin would settle at with other air or another flame: the air model."""

from dataclasses import dataclass, replace

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.breathing import Person, together
from cabinvigil.daemon.air.cabin import Inputs, Surface, Zone
from cabinvigil.daemon.air.moisture import dew_point_c, surface_c
from cabinvigil.daemon.air.zone import NoSteadyStateError, steady
from cabinvigil.daemon.review.cabin_facts import CabinFacts

WALL_W_K_M3 = 3.5
"""Heat that a cabin's walls pass, for each cubic metre of it, where the config does not
tell: a trailer of 11 m3 with 40 W/K (our own scenario)."""
WALLS_PER_VOLUME = 6.0
"""A cube's walls, for its volume to the two thirds."""
HEAT_CAPACITY_J_K = 1e6
"""Any: at rest it does not count."""
USUAL_U_W_M2K = 2.8
"""Double glazing (common practice)."""


@dataclass(frozen=True, slots=True)
class SettlingCase:
    """What acts on the cabin, as the night showed it, or changed."""

    air_m3_h: float
    """Outdoor air, by its volume outdoors."""
    burner_kw: float
    people: float
    outside_c: float
    co_fraction: float = 0.0


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
    """Give where the cabin settles.

    Water settles on the walls, as far as the gases go: else it would crowd them out.
    The dew point is what it would be with all the water in the air.

    Returns:
        None where it settles nowhere, or its volume is unknown.
    """
    if facts.volume_m3 is None or way.air_m3_h <= 0.0:
        return None
    wall = facts.wall_w_k or WALL_W_K_M3 * facts.volume_m3
    area_m2 = WALLS_PER_VOLUME * facts.volume_m3 ** (2.0 / 3.0)
    dry = Zone(facts.volume_m3, wall, HEAT_CAPACITY_J_K, facts.pressure_hpa)
    zone = replace(dry, surfaces=(Surface(area_m2, wall / area_m2),))
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
        state, moist = steady(zone, inputs), steady(dry, inputs)
    except NoSteadyStateError:
        return None
    rh = min(max(readings.rh_pct(dry, moist), 0.1), 1000.0)
    return SettledCase(
        readings.o2_pct(state),
        readings.co2_ppm(state),
        readings.co_ppm(state),
        state.temp_c,
        dew_point_c(moist.temp_c, rh),
        surface_c(state.temp_c, way.outside_c, facts.glass_u_w_m2k or USUAL_U_W_M2K),
    )
