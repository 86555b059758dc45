"""The bedtime plan: what the cabin's air will do tonight, with its spread.

Pure: the same figures give the same plan.  It is worked out for a middle scenario and
for the corners of what nobody knows (`scenario.py`).
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import altitude_like_m, pressure_hpa
from cabinvigil.daemon.air.cylinder import Cylinder, fed_kw, hours_at, hours_in_cold
from cabinvigil.daemon.air.figures import AIRED_C, POWER_SPREAD
from cabinvigil.daemon.air.vents import FlowRange, vent_range
from cabinvigil.daemon.air.zone import ZoneState, outdoor_state
from cabinvigil.daemon.planning import openings
from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan
from cabinvigil.daemon.planning.night import (
    PlannedNight,
    all_night,
    burn_hours,
    burner_water_kg,
    evening_and_morning,
    lit_from_midnight,
    night,
    people_water_kg,
)
from cabinvigil.daemon.planning.scenario import Scenario, scenarios
from cabinvigil.daemon.planning.settle import (
    CO2_LEVELS_PPM,
    O2_LEVELS_PCT,
    Settled,
    ShutCourse,
    settled,
    shut_course,
)
from cabinvigil.daemon.planning.vent_advice import VentAdvice, vent_advice

Range = tuple[float | None, float | None, float | None]
"""Low, middle, high; None: never, and counts as the most."""


class SettledAir(NamedTuple):
    """The settled air, each figure with its range."""

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


class Shut(NamedTuple):
    """With every vent shut."""

    minutes_to_o2: Mapping[float, Range]
    minutes_to_co2: Mapping[float, Range]
    from_outdoor_air: bool
    """No vent was given: counted from outdoor air."""
    lit: bool
    """The burner is lit at that moment."""
    flame_out_min: Range
    """When the burner goes out for want of oxygen."""


class VentNeed(NamedTuple):
    """How big the vents must be, low and high together, cm2."""

    needed_cm2: Range
    thumb_cm2: float
    standards_cm2: Mapping[str, float | None]
    at_thumb: Settled
    """Where the middle scenario settles, in still air, with the thumb's area."""
    dry_cm2: float | None
    """Area that keeps the pane dry, middle scenario."""
    dry_heat_w: float | None
    """Heat that this takes beyond the air of the vents as they are."""


class GasUse(NamedTuple):
    """What burns, and what the cylinder gives."""

    kg: float
    kwh: float
    cylinder_hours: Range
    """Until it is empty, or the cold no longer lets it feed the power."""
    hours_by_gas: float | None
    """Until it is empty, cold left aside; None: nothing burns."""
    fed_kw: float
    """What its cold lets it feed for ever, when full."""
    cylinders_a_week: float


class Wet(NamedTuple):
    """The night's water."""

    burner_kg: float
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
    air: SettledAir
    shut: Shut
    vent: VentNeed
    vents: VentAdvice
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
    middle = ways[0]
    whole = all_night(cabin)
    burns = cabin.burns or whole
    other = evening_and_morning(cabin) if burns == whole else whole
    rest = [settled(way) for way in ways]
    air = _air(ways, rest)
    nights = tuple(night(way, burns) for way in ways)
    inside_c, entering = rest[0].state.temp_c, rest[0].air_m3_h
    return Plan(
        cabin,
        air,
        _shut(cabin, ways, rest, burns),
        _vent(cabin, ways, entering),
        vent_advice(ways),
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
        night(middle, other),
        other,
        openings.air_heat_w(cabin, entering, inside_c),
    )


def _air(ways: tuple[Scenario, ...], rest: list[Settled]) -> SettledAir:
    states = [found.state for found in rest]
    pairs = list(zip(ways, states, strict=True))
    return SettledAir(
        spread([readings.o2_pct(state) for state in states]),
        spread([readings.co2_ppm(state) for state in states]),
        spread([readings.rh_pct(way.zone, state) for way, state in pairs]),
        spread([state.temp_c for state in states]),
        spread([readings.dew_point_c(way.zone, state) for way, state in pairs]),
        spread([found.air_m3_h for found in rest]),
        rest[0].stops,
        any(found.stops for found in rest),
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
    courses: list[ShutCourse] = []
    for way, found in zip(ways, rest, strict=True):
        start: ZoneState
        if no_vent:
            start = outdoor_state(way.zone, way.outside, AIRED_C)
        elif lit or cabin.burner_kw == 0:
            start = found.state
        else:
            start = settled(way, burning=False).state
        courses.append(shut_course(way, start, lit_at))
    return Shut(
        {o2: spread([c.minutes_to_o2[o2] for c in courses]) for o2 in O2_LEVELS_PCT},
        {
            co2: spread([c.minutes_to_co2[co2] for c in courses])
            for co2 in CO2_LEVELS_PPM
        },
        no_vent,
        lit,
        spread([course.flame_out_min for course in courses]),
    )


def _vent(cabin: CabinPlan, ways: tuple[Scenario, ...], entering: float) -> VentNeed:
    middle = ways[0]
    needed = spread([openings.area_cm2(way, openings.needed_m3_h(way)) for way in ways])
    thumb = openings.thumb_cm2(cabin)
    dry_m3_h = openings.dry_m3_h(middle)
    dry_heat_w = None
    if dry_m3_h is not None:
        dry_c = openings.settled_c(middle, dry_m3_h)
        dry_heat_w = openings.air_heat_w(cabin, max(0.0, dry_m3_h - entering), dry_c)
    return VentNeed(
        needed,
        thumb,
        openings.standards_cm2(cabin),
        settled(openings.at_area(middle, thumb)),
        openings.area_cm2(middle, dry_m3_h),
        dry_heat_w,
    )


def _gas(cabin: CabinPlan, burns: tuple[BurnWindow, ...]) -> GasUse:
    cylinder = Cylinder(cabin.cylinder_kg, cabin.cylinder_kg, cabin.liquid)
    air_hpa = scenarios(cabin)[0].zone.pressure_hpa
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
        fed_kw(cylinder, cabin.outside_c, air_hpa),
        7.0 * kg / cabin.cylinder_kg,
    )


def spread(values: Sequence[float | None]) -> Range:
    """Give the range of the scenarios' values, of which the middle one comes first."""
    order = sorted(values, key=lambda value: (value is None, value or 0.0))
    return order[0], values[0], order[-1]
