"""What a part sees of the air from where it hangs: the bunk, the glass, outdoors."""

from dataclasses import replace

from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT
from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from cabinvigil.daemon.air.moisture import vapour_hpa
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.ways import See

ON_ANY_SURFACE = frozenset({"ds18b20", "tmp117"})
"""Kinds that take the temperature of what they are glued to: `AirNow.glass_c`."""


def seen_from(place: str, kind: str, air: See) -> See:
    """Return the air as a part of this kind sees it from its place.

    One that hangs in the cabin sees `air` itself: the cabin is one well-mixed room.
    """
    if place == "outside":
        return lambda: _outdoors(air())
    if place == "glass":
        return air if kind in ON_ANY_SURFACE else lambda: _at_the_pane(air())
    return (lambda: _in_the_room(air())) if kind in ON_ANY_SURFACE else air


def _outdoors(air: AirNow) -> AirNow:
    temp_c = air.temp_c if air.outside_c is None else air.outside_c
    rh_pct = air.rh_pct if air.outside_c is None else air.outside_rh_pct
    wet = vapour_hpa(temp_c, rh_pct) / air.pressure_hpa
    return replace(
        air,
        o2_pct=O2_DRY_PCT * (1.0 - wet),
        co2_ppm=FRESH_CO2_PPM,
        co_ppm=0.0,
        gas_lel_pct=0.0,
        temp_c=temp_c,
        rh_pct=rh_pct,
        glass_c=temp_c,
    )


def _at_the_pane(air: AirNow) -> AirNow:
    return replace(air, temp_c=air.glass_c)


def _in_the_room(air: AirNow) -> AirNow:
    return replace(air, glass_c=air.temp_c)
