"""How big the vents must be: by the air balance, by the thumb, and by the standards."""

import math
from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.figures import CLEAN_CO_FRACTION
from cabinvigil.daemon.air.vents import Vents
from cabinvigil.daemon.air.zone import Inputs, NoSteadyStateError, ZoneState, steady
from cabinvigil.daemon.planning.figures import CabinPlan
from cabinvigil.daemon.planning.scenario import Scenario
from cabinvigil.daemon.text.units import UNITS

O2_LIMIT_PCT = 19.5
"""Oxygen-deficient below this (29 CFR 1910.146(b); check_values,
`o2_osha_deficient`)."""
CO2_LIMIT_PPM = 5000.0
"""Mean of eight hours (NIOSH, OSHA, ACGIH; check_values, `co2_occupational`)."""
MOST_M3_H = 3000.0
"""More air than this is no vent but an open door."""
CM2_PER_IN2 = UNITS["in2"].scale
BTU_H_PER_KW = 1.0 / UNITS["btu_h"].scale
STANDARDS = {
    "en721": "EN 721, leisure vehicles",
    "pd5482": "PD 5482-3, boats",
    "as5601": "AS/NZS 5601.2, caravans",
}
"""Of `standards_cm2`, in words."""
NO_NEW_HEATER = (
    "The two for boats count berths, not tonight's sleepers ({berths:g}), and "
    "neither permits a new unvented heater in a boat at all: their areas are for "
    "cookers and for what was fitted before."
)
"""What those areas are no leave for.  Places to sleep: the Boat Safety Scheme's page on
part 8 (PD 5482-3) and a regulator's on AS/NZS 5601.2, both read.  Room-sealed alone for
what is new: the Scheme's page, read; of AS/NZS 5601.2 unverified.  Guidance built on
ISO 10239, read, calls it dangerous to sleep where an open gas flame is left burning."""
STANDING_HEIGHT_M = 1.9
"""Turns volume into floor area for the rule that asks by floor (own scenario)."""


def thumb_cm2(plan: CabinPlan) -> float:
    """Return the common rule: one square inch for 1 000 Btu/h (common practice)."""
    return plan.burner_kw * BTU_H_PER_KW / 1000.0 * CM2_PER_IN2


def standards_cm2(plan: CabinPlan) -> Mapping[str, float | None]:
    """Give the free area that rules for sleeping vehicles and craft ask, all openings.

    `en721`: DIN EN 721, leisure vehicles, open combustion, roof and low together; rows
    above 10 m2 of floor were not found: None.  `pd5482`: PD 5482-3, boats, 2 200 mm2 a
    kilowatt and 650 a place to sleep; of PD 54823, in its place since 2016, nothing was
    found.  `as5601`: AS/NZS 5601.2, the same slopes, at least 4 000 mm2.  All as quoted
    elsewhere, none read in the original
    (check_values, `vent_en721`, `vent_pd5482`, `vent_as5601`).
    """
    floor_m2 = plan.volume_m3 / STANDING_HEIGHT_M
    burns = plan.burner_kw > 0.0
    if floor_m2 > 10.0:
        en721 = None
    elif not burns:
        en721 = 15.0 + 5.0
    elif floor_m2 <= 5.0:
        en721 = 75.0 + 10.0
    else:
        en721 = 100.0 + 15.0
    mm2 = 2200.0 * plan.burner_kw + 650.0 * plan.places
    by_mj_h = 610.0 * 3.6 * plan.burner_kw + 650.0 * plan.places
    return {
        "en721": en721,
        "pd5482": round(mm2 / 100.0, 1),
        "as5601": round(max(4000.0, by_mj_h) / 100.0, 1),
    }


def _at_flow(scenario: Scenario, air_m3_h: float) -> ZoneState | None:
    """Return the settled air at a flow; None where the oxygen does not last."""
    inputs = Inputs(
        scenario.outside,
        air_m3_h / 3600.0,
        scenario.flame_kw,
        scenario.gas,
        CLEAN_CO_FRACTION,
        people=scenario.sleepers,
    )
    try:
        return steady(scenario.zone, inputs)
    except NoSteadyStateError:
        return None


def is_good(state: ZoneState) -> bool:
    """Return whether oxygen and carbon dioxide are inside their limits."""
    return (
        readings.o2_pct(state) >= O2_LIMIT_PCT
        and readings.co2_ppm(state) <= CO2_LIMIT_PPM
    )


def needed_m3_h(scenario: Scenario) -> float | None:
    """Return the air that keeps O2 and CO2 inside their limits; None: no vent does."""

    def holds(air_m3_h: float) -> bool:
        state = _at_flow(scenario, air_m3_h)
        return state is not None and is_good(state)

    low, high = 0.5, MOST_M3_H
    if holds(low):
        return low
    if not holds(high):
        return None
    while high / low > 1.005:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def area_cm2(scenario: Scenario, air_m3_h: float | None) -> float | None:
    """Return the free area, low and high together and equal, that passes this air.

    In still air, at the warmth that this much air leaves; None where no difference of
    temperature drives any.
    """
    if air_m3_h is None:
        return None
    state = _at_flow(scenario, air_m3_h)
    if state is None:
        return None
    leak_m3_h = 3600.0 * scenario.leak_m3_s(scenario.zone, state.temp_c)
    through = max(0.0, air_m3_h - leak_m3_h)
    if through == 0.0:
        return 0.0
    pair = Vents(100.0, 100.0, scenario.plan.vent_height_m)
    per_200 = 3600.0 * scenario.vent_m3_s(pair, state.temp_c, 0.0)
    return 200.0 * through / per_200 if per_200 > 1e-6 else None


def at_area(scenario: Scenario, total_cm2: float) -> Scenario:
    """Return the same scenario in still air with two equal vents of this total area."""
    plan = replace(
        scenario.plan,
        vent_low_cm2=total_cm2 / 2,
        vent_high_cm2=total_cm2 / 2,
        wind_mps=0.0,
    )
    return replace(scenario, plan=plan)


def air_heat_w(plan: CabinPlan, air_m3_h: float, inside_c: float) -> float:
    """Return the heat that warming this air takes (1 206 J/(m3 K), room air)."""
    return air_m3_h / 3600.0 * 1206.0 * (inside_c - plan.outside_c)
