"""The night by the minute: warmth, wet and air, with the burner lit when it is."""

import math
from collections.abc import Mapping
from typing import NamedTuple

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.combustion import H2O_KG_MOL, burn
from cabinvigil.daemon.air.moisture import dew_point_of_hpa, saturation_hpa, surface_c
from cabinvigil.daemon.air.vents import Vents
from cabinvigil.daemon.air.zone import ZoneState, outdoor_state, step
from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan
from cabinvigil.daemon.planning.flame import burn_hours
from cabinvigil.daemon.planning.scenario import Scenario, goes_out, inputs_at

BED_H = 10.0
"""Going to bed, in hours from noon: 22:00."""
MIDNIGHT_H = 12.0
STEP_S = 300.0
"""Five minutes: gases are exact within it, warmth and air flow follow hourly."""
WARM_UP_H = 2.0
"""Lit before bed, where the night is laid beside one with the flame off."""
MORNING_H = 1.0
"""Lit again before getting up."""


class Moment(NamedTuple):
    """One moment of the night."""

    hour: float
    """Hours from noon."""
    o2_pct: float
    co2_ppm: float
    temp_c: float
    vapour_hpa: float
    glass_c: float
    settled_kg: float
    """Water that stands on panes and walls or has run down, in all."""
    burning: bool

    @property
    def dew_point_c(self) -> float:
        """Dew point, below 0 °C the frost point."""
        return dew_point_of_hpa(self.vapour_hpa)


class PlannedNight(NamedTuple):
    """The night as it goes in one scenario."""

    moments: tuple[Moment, ...]
    mist_from_min: float | None
    """Minutes from the night's begin until the pane mists; None: it stays dry."""
    runs_from_min: float | None
    """Minutes until the mist is too much to hang and runs down."""
    burnt_kwh: float
    """Gas used, on the higher heating value."""
    flame_out_h: float | None
    """When the burner went out for want of oxygen."""

    def at(self, hour: float) -> Moment:
        """Return the moment nearest to an hour."""
        return min(self.moments, key=lambda moment: abs(moment.hour - hour))

    @property
    def least_o2_pct(self) -> float:
        """The lowest oxygen of the night."""
        return min(moment.o2_pct for moment in self.moments)

    @property
    def most_co2_ppm(self) -> float:
        """The highest carbon dioxide of the night."""
        return max(moment.co2_ppm for moment in self.moments)


def all_night(plan: CabinPlan) -> tuple[BurnWindow, ...]:
    """Return the burner's times for a night with the flame always on."""
    return (BurnWindow(BED_H, BED_H + plan.hours),)


def evening_and_morning(plan: CabinPlan) -> tuple[BurnWindow, ...]:
    """Return the times that makers and the trade advise: off while people sleep."""
    wake = BED_H + plan.hours
    morning = min(MORNING_H, plan.hours / 2)
    return (BurnWindow(BED_H - WARM_UP_H, BED_H), BurnWindow(wake - morning, wake))


def is_lit(burns: tuple[BurnWindow, ...], hour: float) -> bool:
    """Return whether the burner is lit at an hour from noon."""
    return any(window.from_h <= hour < window.to_h for window in burns)


def lit_from_midnight(
    plan: CabinPlan, burns: tuple[BurnWindow, ...]
) -> Mapping[float, bool]:
    """Return from which second after midnight the burner is lit or off.

    A flame that burns all night goes on burning: nobody wakes to turn it off.
    """
    if burns == all_night(plan):
        return {0.0: True}
    edges = {MIDNIGHT_H, 24.0}
    for window in burns:
        edges |= {window.from_h, window.to_h}
    return {
        3600.0 * (hour - MIDNIGHT_H): is_lit(burns, hour)
        for hour in sorted(edges)
        if hour >= MIDNIGHT_H
    }


def span_h(plan: CabinPlan, burns: tuple[BurnWindow, ...]) -> tuple[float, float]:
    """Return begin and end of the night's course, in hours from noon."""
    first = min([BED_H, *(window.from_h for window in burns)])
    last = max([BED_H + plan.hours, *(window.to_h for window in burns)])
    return first, last


def night(
    scenario: Scenario, burns: tuple[BurnWindow, ...], vents: Vents | None = None
) -> PlannedNight:
    """Follow one night from a cold, aired cabin."""
    plan, zone = scenario.plan, scenario.zone
    vents = scenario.vents if vents is None else vents
    first_h, last_h = span_h(plan, burns)
    state = outdoor_state(zone, scenario.outside, plan.outside_c)
    count = max(1, round((last_h - first_h) * 3600.0 / STEP_S))
    dt_s = (last_h - first_h) * 3600.0 / count
    wet_from: float | None = None
    runs_from: float | None = None
    out_h: float | None = None
    burnt_kwh, moments = 0.0, []
    for i in range(count + 1):
        hour = first_h + i * dt_s / 3600.0
        burning = scenario.flame_kw > 0.0 and is_lit(burns, hour) and out_h is None
        moments.append(_moment(scenario, state, hour, burning))
        if wet_from is None and state.film_kg[0] > 0.0:
            wet_from = i * dt_s / 60.0
        if runs_from is None and state.drained_kg > 0.0:
            runs_from = i * dt_s / 60.0
        if i == count:
            break
        asleep = BED_H <= hour < BED_H + plan.hours
        people = scenario.sleepers if asleep else scenario.sitters
        inputs = inputs_at(
            scenario, zone, state.temp_c, vents, burning=burning, people=people
        )
        state = step(zone, state, inputs, dt_s)
        burnt_kwh += inputs.burner_kw_hhv * dt_s / 3600.0
        if burning and goes_out(scenario, state):
            out_h = hour + dt_s / 3600.0
    return PlannedNight(tuple(moments), wet_from, runs_from, burnt_kwh, out_h)


def moments_asleep(plan: CabinPlan, course: PlannedNight) -> list[Moment]:
    """Return the moments from an hour after bed until the morning's flame is due.

    At the least the night's middle, where it is shorter than that.
    """
    first = min(BED_H + 1.0, BED_H + plan.hours / 2)
    last = max(first, BED_H + plan.hours - MORNING_H)
    return [course.at(first)] + [m for m in course.moments if first < m.hour < last]


def _moment(scenario: Scenario, state: ZoneState, hour: float, burning: bool) -> Moment:
    zone, plan = scenario.zone, scenario.plan
    return Moment(
        hour,
        readings.o2_pct(state),
        readings.co2_ppm(state),
        state.temp_c,
        readings.vapour_pressure_hpa(zone, state),
        surface_c(state.temp_c, plan.outside_c, plan.glass_u),
        math.fsum(state.film_kg) + state.drained_kg,
        burning,
    )


def burner_water_kg(plan: CabinPlan, burns: tuple[BurnWindow, ...]) -> float:
    """Return the water that the burner makes in the night."""
    flame = burn(plan.gas, plan.burner_kw)
    return flame.h2o_mol_s * H2O_KG_MOL * 3600.0 * burn_hours(burns)


def people_water_kg(scenario: Scenario) -> float:
    """Return the water that the sleepers breathe out from bed to morning."""
    return scenario.sleepers.h2o_mol_s * H2O_KG_MOL * 3600.0 * scenario.plan.hours


def glass_is_wet(scenario: Scenario, state: ZoneState) -> bool:
    """Return whether the pane is below the dew point."""
    face_c = surface_c(state.temp_c, scenario.plan.outside_c, scenario.plan.glass_u)
    return readings.vapour_pressure_hpa(scenario.zone, state) > saturation_hpa(face_c)
