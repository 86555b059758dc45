"""The words of the cabin's balance: what it is, what acts on it, how its air is."""

from dataclasses import dataclass, field

from cabinvigil.daemon.air import figures
from cabinvigil.daemon.air.atmosphere import (
    GAS_CONSTANT_J_MOL_K,
    SEA_LEVEL_HPA,
    ZERO_C_K,
    OutsideAir,
)
from cabinvigil.daemon.air.combustion import PROPANE, Fuel


@dataclass(frozen=True, slots=True)
class Surface:
    """A pane or wall on which vapour may settle."""

    area_m2: float
    u_w_m2k: float
    """U-value, inside air to outside air."""


@dataclass(frozen=True, slots=True)
class Zone:
    """What of the cabin stays as it is."""

    volume_m3: float
    """Air volume."""
    wall_w_k: float
    """Heat that walls, floor, roof and glass pass, all together."""
    heat_capacity_j_k: float
    """Of the air and all that warms with it within hours."""
    pressure_hpa: float = SEA_LEVEL_HPA
    surfaces: tuple[Surface, ...] = ()
    """Where vapour may settle; with none, vapour above saturation stays in the air,
    and a humidity above 100 % shows that it would have run down somewhere."""


def cabin_zone(
    volume_m3: float,
    pressure_hpa: float,
    *,
    wall_w_k: float | None = None,
    glass_u_w_m2k: float | None = None,
    walls: float = 1.0,
) -> Zone:
    """Make the zone of a cabin, its panes first, of what is stated of it.

    Args:
        volume_m3: air volume.
        pressure_hpa: of its air.
        wall_w_k: heat that walls and panes pass; None: estimated from the volume.
        glass_u_w_m2k: of the coldest pane; None: the usual.
        walls: factor on the heat that walls and panes pass.
    """
    glass_u = figures.glass_u(glass_u_w_m2k)
    loss_w_k = walls * figures.wall_loss_w_k(volume_m3, wall_w_k, glass_u)
    glass_m2 = figures.glass_m2(volume_m3)
    walls_m2 = figures.shell_m2(volume_m3) - glass_m2
    return Zone(
        volume_m3,
        loss_w_k,
        figures.heat_capacity_j_k(volume_m3),
        pressure_hpa,
        (
            Surface(glass_m2, glass_u),
            Surface(walls_m2, figures.wall_u(volume_m3, loss_w_k, glass_u)),
        ),
    )


@dataclass(frozen=True, slots=True)
class People:
    """What all the people in the cabin take and give, together."""

    o2_mol_s: float = 0.0
    """Oxygen used."""
    co2_mol_s: float = 0.0
    h2o_mol_s: float = 0.0
    heat_w: float = 0.0
    """Sensible heat, without what their vapour carries."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """What acts on the cabin, held constant over a step."""

    outside: OutsideAir
    air_m3_s: float = 0.0
    """Outdoor air that enters, by its volume outdoors."""
    burner_kw_hhv: float = 0.0
    """Gas that burns, on the higher heating value."""
    fuel: Fuel = field(default=PROPANE)
    co_fraction: float = 0.0
    """Share of the fuel's carbon that leaves as CO."""
    leak_mol_s: float = 0.0
    """Fuel that escapes unburnt."""
    people: People = People()


@dataclass(frozen=True, slots=True)
class ZoneState:
    """The cabin's air now: mole fractions, which sum to 1, and its temperature."""

    n2: float
    """Nitrogen, argon, and all else that takes no part."""
    o2: float
    co2: float
    co: float
    h2o: float
    fuel: float
    temp_c: float
    film_kg: tuple[float, ...] = ()
    """Water that stands on each of the zone's surfaces; it may dry again."""
    drained_kg: float = 0.0
    """Water that ran down so far; it does not come back."""


def outdoor_state(zone: Zone, outside: OutsideAir, temp_c: float) -> ZoneState:
    """Return the cabin just aired out: outdoor air, at a temperature of its own."""
    air = outside.mixture(zone.pressure_hpa)
    film = (0.0,) * len(zone.surfaces)
    return ZoneState(
        air.n2, air.o2, air.co2, air.co, air.h2o, air.fuel, temp_c, film, 0.0
    )


def moles(zone: Zone, temp_c: float) -> float:
    """Return the moles of gas that the zone holds."""
    pascal_m3 = 100.0 * zone.pressure_hpa * zone.volume_m3
    return pascal_m3 / (GAS_CONSTANT_J_MOL_K * (temp_c + ZERO_C_K))
