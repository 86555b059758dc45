"""What one night is made of before it is lived: cabin, heater, people, weather."""

from dataclasses import dataclass, field
from typing import Literal

from tests.bench.second_nights.openings import Crack, Opening


@dataclass
class Shell:
    """The cabin's body."""

    volume_m3: float
    height_m: float
    wall_m2: float
    wall_w_k: float
    """All walls but the panes."""
    wall_kj_k: float
    room_kj_k: float
    """What warms with the air: bedding, thin boards."""
    glass_m2: float
    glass_u: float
    skin_m2: float
    """Bare metal that sweats."""
    skin_u: float
    sorbs_kg: float
    """Water that the quick layer takes from 0 to 100 % humidity."""
    sorb_m_s: float
    """Its transfer coefficient, m/s."""
    deep_kg: float
    deep_s: float
    co2_share: float
    """CO2 held by foam and water, as a share of the cabin's air."""
    co2_s: float
    layers: int = 1
    mixing_m3_s: float = 0.02
    layer_k: float = 0.0
    """Upper layer above the mean by so much, while it burns."""


@dataclass
class Heater:
    """The heater; power is the fuel's, on the higher heating value."""

    high_kw: float
    """At the sea, with a warm cylinder."""
    low_kw: float
    label_kw: float
    label_low_kw: float
    is_catalytic: bool
    co_share: float
    radiant: float
    fades_pct: float
    """Of its power for each percent of oxygen lost; 0 for a jet."""
    cuts_out_pct: float
    """Oxygen at which its guard shuts it; 0: it has none."""
    thermostat_c: float | None = None
    sets_low: bool = False
    """The thermostat goes to low, not to off."""


@dataclass
class Sleeper:
    """One person."""

    kg: float
    rq: float
    asleep_ml_kg_min: float
    """Oxygen taken, by body mass."""
    awake_factor: float
    water_g_h: float


What = Literal["flame", "vent_low", "vent_high", "window", "there", "awake", "stove"]


@dataclass(order=True)
class Event:
    """Something that somebody does, or that happens."""

    at_s: float
    what: What
    value: float
    """flame: 0 to 1 from off to high; vents: share of the area; window: m2; there:
    how many of the people; awake: 1 or 0; stove: kW."""


Course = list[tuple[float, float]]
"""(moment, value), straight in between."""


@dataclass
class Weather:
    """Outdoors."""

    temp_c: Course
    rh_pct: float
    wind_m_s: Course
    toward: Course
    gust_share: float
    gust_s: float
    pressure_hpa: Course
    co2_ppm: float


@dataclass
class Scene:
    """One night."""

    kind: str
    seconds: float
    shell: Shell
    heater: Heater
    openings: list[Opening]
    cracks: list[Crack]
    people: list[Sleeper]
    weather: Weather
    altitude_m: float
    fuel_kg: dict[str, float]
    cylinder_outside: bool
    starts_c: float
    """Above outdoors, at the start."""
    starts_rh_pct: float
    starts_co2_ppm: float
    events: list[Event] = field(default_factory=list)
    ices_from_s: float | None = None
    ices_tau_s: float = 7200.0
    ices_to: float = 0.2
    marked: bool = False
    """Whether somebody marks what is done."""


def at(course: Course, at_s: float) -> float:
    """Read a course."""
    before = course[0]
    if at_s <= before[0]:
        return before[1]
    for point in course[1:]:
        if at_s <= point[0]:
            share = (at_s - before[0]) / (point[0] - before[0])
            return before[1] + share * (point[1] - before[1])
        before = point
    return before[1]
