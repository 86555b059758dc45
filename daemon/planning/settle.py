"""Where the cabin settles, and how long it takes to trouble with every vent shut."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.figures import AIRED_C, CUT_OFF_O2_PCT
from cabinvigil.daemon.air.vents import Vents
from cabinvigil.daemon.air.zone import (
    NoSteadyStateError,
    ZoneState,
    outdoor_state,
    steady,
    step,
)
from cabinvigil.daemon.planning.scenario import Scenario, goes_out, inputs_at

FOLLOWED_S = 36 * 3600.0
"""What has not come in a day and a half of the same night counts as never."""
O2_LEVELS_PCT = (20.5, 19.5, CUT_OFF_O2_PCT)
"""20.5: hardly anything used; 19.5: oxygen-deficient (29 CFR 1910.146); last where
a heater's own cut-off acts."""
CO2_LEVELS_PPM = (5000.0, 30000.0, 40000.0)
"""Eight-hour limit, 15 min limit, immediately dangerous (NIOSH; check_values,
`co2_occupational`)."""
LONGEST_STEP_S = 900.0
STILL = 2e-6
"""Change of the fractions in the longest step that is none: the air has settled, and
no further level is reached."""
SHUT = Vents(0.0, 0.0)


class Settled(NamedTuple):
    """Where the cabin settles with its vents as they are."""

    state: ZoneState
    air_m3_h: float
    """Outdoor air that enters, by its volume outdoors."""
    stops: bool
    """It does not settle: this is where the flame goes out, or where it stands after a
    day and a half."""


def growing_steps() -> Iterator[float]:
    """Yield step lengths that grow by a twelfth, from 20 s to 15 min."""
    at_s, dt_s = 0.0, 20.0
    while at_s < FOLLOWED_S:
        yield dt_s
        at_s += dt_s
        dt_s = min(LONGEST_STEP_S, dt_s * 1.08)


def settled(scenario: Scenario, *, burning: bool = True) -> Settled:
    """Find where the cabin settles: air flow and warmth follow one another."""
    zone, people = scenario.zone, scenario.sleepers
    temp_c = scenario.plan.outside_c + 15.0
    try:
        for _ in range(40):
            inputs = inputs_at(
                scenario,
                zone,
                temp_c,
                scenario.vents,
                burning=burning,
                people=people,
            )
            state = steady(zone, inputs)
            if abs(state.temp_c - temp_c) < 1e-3:
                break
            temp_c += 0.85 * (state.temp_c - temp_c)
    except NoSteadyStateError:
        return _falling(scenario, burning=burning)
    if burning and scenario.flame_kw > 0 and goes_out(scenario, state):
        return _falling(scenario, burning=burning)
    return Settled(state, 3600.0 * inputs.air_m3_s, stops=False)


def _falling(scenario: Scenario, *, burning: bool) -> Settled:
    """Follow a cabin that does not settle, until its flame goes out."""
    zone, people = scenario.zone, scenario.sleepers
    state = outdoor_state(zone, scenario.outside, AIRED_C)
    entering_m3_s = 0.0
    for dt_s in growing_steps():
        inputs = inputs_at(
            scenario,
            zone,
            state.temp_c,
            scenario.vents,
            burning=burning,
            people=people,
        )
        entering_m3_s = inputs.air_m3_s
        after = step(zone, state, inputs, dt_s)
        if goes_out(scenario, after):
            break
        state = after
    return Settled(state, 3600.0 * entering_m3_s, stops=True)


class ShutCourse(NamedTuple):
    """What happens with every vent shut."""

    minutes_to_o2: Mapping[float, float | None]
    """By level, %; None: never."""
    minutes_to_co2: Mapping[float, float | None]
    """By level, ppm."""
    flame_out_min: float | None
    """When the burner goes out for want of oxygen."""


def shut_course(
    scenario: Scenario, start: ZoneState, lit_at: Mapping[float, bool]
) -> ShutCourse:
    """Follow the cabin from the moment that every vent shuts.

    Args:
        scenario: the cabin.
        start: its air at that moment.
        lit_at: from which second on the burner is lit or off; ascending.
    """
    crossings: dict[tuple[str, float], float] = {}
    zone, people, state, at_s = scenario.zone, scenario.sleepers, start, 0.0
    out_s: float | None = None
    last_change_s = max(lit_at)
    for dt_s in growing_steps():
        lit = [on for from_s, on in lit_at.items() if from_s <= at_s][-1]
        burning = lit and out_s is None and scenario.flame_kw > 0.0
        inputs = inputs_at(
            scenario, zone, state.temp_c, SHUT, burning=burning, people=people
        )
        after = step(zone, state, inputs, dt_s)
        _note_crossings(crossings, state, after, at_s, dt_s)
        still = abs(after.o2 - state.o2) + abs(after.co2 - state.co2) < STILL
        state, at_s = after, at_s + dt_s
        if out_s is None and burning and goes_out(scenario, state):
            out_s = at_s
        if len(crossings) == len(O2_LEVELS_PCT) + len(CO2_LEVELS_PPM):
            break
        if still and dt_s >= LONGEST_STEP_S and at_s >= last_change_s:
            break
    minutes = {key: second / 60.0 for key, second in crossings.items()}
    return ShutCourse(
        {level: minutes.get(("o2", level)) for level in O2_LEVELS_PCT},
        {level: minutes.get(("co2", level)) for level in CO2_LEVELS_PPM},
        None if out_s is None else out_s / 60.0,
    )


def _note_crossings(
    crossings: dict[tuple[str, float], float],
    before: ZoneState,
    after: ZoneState,
    at_s: float,
    dt_s: float,
) -> None:
    """Note the levels that were crossed in a step, straight between its ends."""
    o2 = (readings.o2_pct(before), readings.o2_pct(after))
    co2 = (readings.co2_ppm(before), readings.co2_ppm(after))
    spans = [("o2", level, -o2[0], -o2[1], -level) for level in O2_LEVELS_PCT]
    spans += [("co2", level, co2[0], co2[1], level) for level in CO2_LEVELS_PPM]
    for name, level, first, last, limit in spans:
        if (name, level) in crossings or last < limit:
            continue
        share = 0.0 if first >= limit else (limit - first) / (last - first)
        crossings[(name, level)] = at_s + share * dt_s
