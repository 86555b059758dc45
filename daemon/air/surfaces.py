"""Panes and walls that vapour settles on: when, how fast, and what runs down."""

from cabinvigil.daemon.air.cabin import Surface, Zone, ZoneState, moles
from cabinvigil.daemon.air.combustion import H2O_KG_MOL
from cabinvigil.daemon.air.moisture import (
    INSIDE_RESISTANCE_M2K_W,
    mass_transfer_m_s,
    saturation_hpa,
    surface_c,
)

FILM_KG_M2 = 0.05
"""Water that a pane holds as film and drops before it runs (common practice, no
source: some 50 g/m2)."""


def settling_share(zone: Zone, face: Surface, temp_c: float) -> float:
    """Return the mol/s that settle on a surface per unit of excess vapour fraction."""
    return mass_transfer_m_s() * face.area_m2 * moles(zone, temp_c) / zone.volume_m3


def face_fraction(zone: Zone, face: Surface, temp_c: float, outside_c: float) -> float:
    """Return the vapour fraction at which this surface is just wet."""
    face_c = surface_c(temp_c, outside_c, face.u_w_m2k)
    return saturation_hpa(face_c) / zone.pressure_hpa


def latent_to_room(face: Surface) -> float:
    """Return the share of a surface's latent heat that comes back into the room.

    Heat set free on the inner face parts between the room's surface resistance and
    the rest of the wall.
    """
    return max(0.0, 1.0 - face.u_w_m2k * INSIDE_RESISTANCE_M2K_W)


def run_down(
    zone: Zone, state: ZoneState, settling: list[float], dt_s: float
) -> tuple[tuple[float, ...], float]:
    """Return each surface's film after a step, and all that has run down."""
    film, drained_kg = [], state.drained_kg
    for face, held, rate in zip(zone.surfaces, state.film_kg, settling, strict=True):
        water = max(0.0, held + rate * dt_s * H2O_KG_MOL)
        stays = min(water, FILM_KG_M2 * face.area_m2)
        film.append(stays)
        drained_kg += water - stays
    return tuple(film), drained_kg
