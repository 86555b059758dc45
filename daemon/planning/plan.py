"""The bedtime plan: what the cabin's air will do tonight, with its spread.

Pure: the same figures give the same plan.  It is worked out for a middle scenario and
for the corners of what nobody knows (`scenario.py`).
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import altitude_like_m, pressure_hpa
from cabinvigil.daemon.air.cylinder import hours_at, hours_in_cold
from cabinvigil.daemon.air.figures import AIRED_C, POWER_SPREAD
from cabinvigil.daemon.air.vents import FlowRange, vent_range
from cabinvigil.daemon.air.zone import ZoneState, outdoor_state
from cabinvigil.daemon.planning import openings
from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan
from cabinvigil.daemon.planning.flame import (
    Flame,
    burn_hours,
    fed_outdoors_kw,
    flame,
    full_cylinder,
)
from cabinvigil.daemon.planning.night import (
    PlannedNight,
    all_night,
    burner_water_kg,
    evening_and_morning,
    lit_from_midnight,
    night,
    people_water_kg,
)
from cabinvigil.daemon.planning.places import LOW, Places, above_flame, places
from cabinvigil.daemon.planning.scenario import Scenario, held_down, scenarios
from cabinvigil.daemon.planning.settle import (
    CO2_LEVELS_PPM,
    O2_LEVELS_PCT,
    Settled,
    ShutCourse,
    settled,
    shut_course,
)
from cabinvigil.daemon.planning.vent_advice import (
    Drying,
    VentAdvice,
    drying,
    vent_advice,
)

Range = tuple[float | None, float | None, float | None]
"""Low, middle, high; None: never, and counts as the most."""


class SettledAir(NamedTuple):
    """The settled air, each figure with its range.

    Where the cold may hold the flame down, the middle of the gases is that of the
    larger flame, and the middle of warmth and humidity that of the smaller one.
    """

    o2_pct: Range
    co2_ppm: Range
    rh_pct: Range
    temp_c: Range
    dew_point_c: Range
    air_m3_h: Range
    stops: bool
    """In the middle scenario it does not settle: this is where the flame goes out."""
    may_stop: bool
    """In some scenario it does not."""
    hot_c: float
    """Inside, in the middle scenario, with the larger flame."""


class Shut(NamedTuple):
    """With every vent shut."""

    from_o2_pct: Range
    """Of the air at that moment."""
    from_co2_ppm: Range
    minutes_to_o2: Mapping[float, Range]
    minutes_to_co2: Mapping[float, Range]
    from_outdoor_air: bool
    """No vent was given: counted from outdoor air.  Else from the settled air."""
    lit: bool
    """The burner is lit at that moment."""
    flame_out_min: Range
    """When the burner goes out for want of oxygen."""
    above_flame_min: Range | None
    """Until oxygen is at its limit above a flame that stands high; None: it does not,
    or nobody says how high."""


class VentNeed(NamedTuple):
    """How big the vents must be, low and high together, cm2."""

    needed_cm2: Range
    thumb_cm2: float
    standards_cm2: Mapping[str, float | None]
    at_thumb: Settled
    """Where the middle scenario settles, in still air, with the thumb's area."""


class GasUse(NamedTuple):
    """What burns, and what the cylinder gives."""

    kg: float
    """With the larger flame: what to bring."""
    kwh: float
    cylinder_hours: Range
    """Until it is empty, or the cold no longer lets it feed the power."""
    hours_by_gas: float | None
    """Until it is empty, cold left aside; None: nothing burns."""
    fed_kw: float
    """What its cold lets it feed for ever, outdoors and full."""
    cylinders_a_week: float


class Wet(NamedTuple):
    """The night's water."""

    burner_kg: float
    """With the larger flame."""
    people_kg: float
    mist_from_min: Range
    """Minutes from the night's begin until the pane mists."""
    runs_from_min: Range
    """Minutes until the mist is too much to hang, and runs down."""
    ran_down_kg: Range
    """On panes and walls by morning."""


class Plan(NamedTuple):
    """All that is told at bedtime."""

    cabin: CabinPlan
    flame: Flame
    places: Places
    air: SettledAir
    shut: Shut
    vent: VentNeed
    vents: VentAdvice
    drying: Drying
    vent_flow: FlowRange
    gas: GasUse
    wet: Wet
    nights: tuple[PlannedNight, ...]
    """The night as asked, one for each scenario, the middle one first."""
    burns: tuple[BurnWindow, ...]
    """When the burner is lit in it."""
    other_night: PlannedNight
    """The middle scenario with the burner lit the other way."""
    other_burns: tuple[BurnWindow, ...]
    coldest_nights: tuple[PlannedNight, PlannedNight]
    """Both, in the middle scenario, with the smaller flame: for the warmth."""
    vent_heat_w: float
    """Heat that the settled air's vent takes."""

    @property
    def like_sleeping_at_m(self) -> float:
        """The height whose outdoor air holds the settled air's oxygen."""
        o2_pct = self.air.o2_pct[1] or 0.0
        return altitude_like_m(o2_pct / 100.0 * pressure_hpa(self.cabin.altitude_m))


def plan(cabin: CabinPlan) -> Plan:
    """Work out the plan of one night."""
    ways = scenarios(cabin)
    middle, cold = ways[0], held_down(ways[0])
    whole = all_night(cabin)
    burns = cabin.burns or whole
    other = evening_and_morning(cabin) if burns == whole else whole
    rest = [settled(way) for way in ways]
    cold_rest = rest[0] if cold is middle else settled(cold)
    nights = tuple(night(way, burns) for way in ways)
    other_night = night(middle, other)
    advice = vent_advice(ways)
    inside_c = rest[0].state.temp_c
    return Plan(
        cabin,
        flame(cabin),
        places(cabin.burner_kw, cabin.burner_height_m),
        _air((*ways, cold), [*rest, cold_rest]),
        _shut(cabin, ways, rest, burns),
        _vent(cabin, ways),
        advice,
        drying(middle, advice),
        vent_range(middle.vents, inside_c, cabin.outside_c, cabin.wind_mps),
        _gas(cabin, burns),
        Wet(
            burner_water_kg(cabin, burns),
            people_water_kg(middle),
            spread([way.mist_from_min for way in nights]),
            spread([way.runs_from_min for way in nights]),
            spread([way.moments[-1].settled_kg for way in nights]),
        ),
        nights,
        burns,
        other_night,
        other,
        (nights[0], other_night)
        if cold is middle
        else (night(cold, burns), night(cold, other)),
        openings.air_heat_w(cabin, cold_rest.air_m3_h, cold_rest.state.temp_c),
    )


def _air(ways: tuple[Scenario, ...], rest: list[Settled]) -> SettledAir:
    """Put the ranges together; the last way is the middle one, its flame held down."""
    states = [found.state for found in rest]
    warm = [(ways[-1], states[-1]), *zip(ways[:-1], states[:-1], strict=True)]
    return SettledAir(
        spread([readings.o2_pct(state) for state in states]),
        spread([readings.co2_ppm(state) for state in states]),
        spread([readings.rh_pct(way.zone, state) for way, state in warm]),
        spread([state.temp_c for _, state in warm]),
        spread([readings.dew_point_c(way.zone, state) for way, state in warm]),
        spread([found.air_m3_h for found in rest]),
        rest[0].stops,
        any(found.stops for found in rest),
        states[0].temp_c,
    )


def _shut(
    cabin: CabinPlan,
    ways: tuple[Scenario, ...],
    rest: list[Settled],
    burns: tuple[BurnWindow, ...],
) -> Shut:
    lit_at = lit_from_midnight(cabin, burns)
    lit = lit_at[0.0] and cabin.burner_kw > 0
    no_vent = cabin.vent_low_cm2 + cabin.vent_high_cm2 == 0.0
    starts: list[ZoneState] = []
    courses: list[ShutCourse] = []
    for way, found in zip(ways, rest, strict=True):
        start: ZoneState
        if no_vent:
            start = outdoor_state(way.zone, way.outside, AIRED_C)
        elif lit or cabin.burner_kw == 0:
            start = found.state
        else:
            start = settled(way, burning=False).state
        starts.append(start)
        courses.append(shut_course(way, start, lit_at))
    above: Range | None = None
    stands_high = LOW in places(cabin.burner_kw, cabin.burner_height_m).wanted
    if cabin.burner_height_m is not None and stands_high:
        layers = [
            shut_course(above_flame(way), start, lit_at).minutes_to_o2
            for way, start in zip(ways, starts, strict=True)
        ]
        above = spread([minutes[openings.O2_LIMIT_PCT] for minutes in layers])
    return Shut(
        spread([readings.o2_pct(state) for state in starts]),
        spread([readings.co2_ppm(state) for state in starts]),
        {o2: spread([c.minutes_to_o2[o2] for c in courses]) for o2 in O2_LEVELS_PCT},
        {
            co2: spread([c.minutes_to_co2[co2] for c in courses])
            for co2 in CO2_LEVELS_PPM
        },
        no_vent,
        lit,
        spread([course.flame_out_min for course in courses]),
        above,
    )


def _vent(cabin: CabinPlan, ways: tuple[Scenario, ...]) -> VentNeed:
    middle = ways[0]
    needed = [openings.area_cm2(way, openings.needed_m3_h(way)) for way in ways]
    thumb = openings.thumb_cm2(cabin)
    return VentNeed(
        # whole and rounded up: what is printed is enough
        spread([None if cm2 is None else float(math.ceil(cm2)) for cm2 in needed]),
        thumb,
        openings.standards_cm2(cabin),
        settled(openings.at_area(middle, thumb)),
    )


def _gas(cabin: CabinPlan, burns: tuple[BurnWindow, ...]) -> GasUse:
    cylinder = full_cylinder(cabin)
    air_hpa = pressure_hpa(cabin.altitude_m)
    kwh = cabin.burner_kw * burn_hours(burns)
    kg = 3.6 * kwh / cabin.gas.hhv_mj_kg
    burning = cabin.burner_kw > 0
    hours: list[float | None] = [
        hours_in_cold(cylinder, cabin.burner_kw * factor, cabin.outside_c, air_hpa)
        if burning
        else None
        for factor in (1.0, 1.0 + POWER_SPREAD, 1.0 - POWER_SPREAD)
    ]
    return GasUse(
        kg,
        kwh,
        spread(hours),
        hours_at(cylinder, cabin.burner_kw) if burning else None,
        fed_outdoors_kw(cabin),
        7.0 * kg / cabin.cylinder_kg,
    )


def spread(values: Sequence[float | None]) -> Range:
    """Give the range of the scenarios' values, of which the middle one comes first."""
    order = sorted(values, key=lambda value: (value is None, value or 0.0))
    return order[0], values[0], order[-1]
