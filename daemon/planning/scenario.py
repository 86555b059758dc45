"""One way the night may turn out: the cabin with every uncertain figure settled.

A plan is worked out for a middle scenario and for the corners of what nobody knows:
how freely the vents pass air and how much the shell leaks, and how strong burner,
breath and walls are.  A range is the least and the most that these give.
"""

from dataclasses import dataclass, replace
from functools import cached_property

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir, pressure_hpa
from cabinvigil.daemon.air.breathing import Person, awake, together
from cabinvigil.daemon.air.cabin import cabin_zone
from cabinvigil.daemon.air.combustion import Fuel
from cabinvigil.daemon.air.figures import (
    ASLEEP_SPREAD,
    CLEAN_CO_FRACTION,
    FLAME_OUT_O2_PCT,
    POWER_SPREAD,
    WALL_SPREAD,
    leak_per_h,
)
from cabinvigil.daemon.air.vents import (
    DISCHARGE,
    DISCHARGE_HIGH,
    DISCHARGE_LOW,
    WIND_COEFFICIENT,
    WIND_COEFFICIENT_AGAINST,
    WIND_COEFFICIENT_HIGH,
    Vents,
    vent_m3_s,
)
from cabinvigil.daemon.air.zone import Inputs, People, Zone, ZoneState, air_m3_s
from cabinvigil.daemon.planning.figures import CabinPlan
from cabinvigil.daemon.planning.flame import flame


@dataclass(frozen=True)
class Scenario:
    """The cabin with every uncertain figure settled."""

    plan: CabinPlan
    leak_per_h: float
    discharge: float
    wind_coefficient: float
    power: float
    """Factor on the burner's power: its spread, or what the cold lets it have."""
    breath: float
    """Factor on what people take and give."""
    walls: float
    """Factor on the heat that the walls pass."""
    flame_out_pct: float
    """Dry oxygen at which the burner goes out."""
    floor_breathes: bool = True
    """An opening near the floor exchanges air by itself, too; under warm air it may
    pass none."""

    @cached_property
    def zone(self) -> Zone:
        """The cabin as one well-mixed volume, its panes and its walls."""
        plan = self.plan
        return cabin_zone(
            plan.volume_m3,
            pressure_hpa(plan.altitude_m),
            wall_w_k=plan.wall_w_k,
            glass_u_w_m2k=plan.glass_u,
            walls=self.walls,
        )

    @cached_property
    def outside(self) -> OutsideAir:
        """The air outdoors."""
        plan = self.plan
        return OutsideAir(plan.outside_c, plan.outside_rh_pct, plan.outdoor_co2_ppm)

    @cached_property
    def vents(self) -> Vents:
        """The openings as given."""
        plan = self.plan
        return Vents(plan.vent_low_cm2, plan.vent_high_cm2, plan.vent_height_m)

    @cached_property
    def sleepers(self) -> People:
        """What the people take and give asleep."""
        return together(self.plan.people * self.breath, Person())

    @cached_property
    def sitters(self) -> People:
        """What the people take and give awake."""
        return together(self.plan.people * self.breath, awake(Person()))

    @property
    def flame_kw(self) -> float:
        """What burns while the burner is on."""
        return self.plan.burner_kw * self.power

    @cached_property
    def gas(self) -> Fuel:
        """The gas as it burns."""
        return self.plan.gas

    def leak_m3_s(self, zone: Zone, temp_c: float) -> float:
        """Air that enters with every vent shut, by its volume outdoors."""
        return air_m3_s(zone, temp_c, self.plan.outside_c, self.leak_per_h)

    def vent_m3_s(self, vents: Vents, temp_c: float, wind_mps: float) -> float:
        """Air that enters through the vents, by its volume outdoors."""
        if not self.floor_breathes and vents.high_cm2 == 0.0:
            return 0.0
        return vent_m3_s(
            vents,
            temp_c,
            self.plan.outside_c,
            wind_mps,
            self.discharge,
            self.wind_coefficient,
        )


def scenarios(plan: CabinPlan) -> tuple[Scenario, ...]:
    """Return the middle scenario first, then the corners.

    The flame is the burner's own, and in the weak corners the least of all: what the
    cold lets a cylinder outdoors feed.
    """
    least_share = flame(plan).least_share
    leaks = leak_per_h(plan.leak_per_h)
    out_low, out, out_high = FLAME_OUT_O2_PCT
    middle = Scenario(plan, leaks[1], DISCHARGE, WIND_COEFFICIENT, 1.0, 1.0, 1.0, out)
    tight = replace(
        middle,
        leak_per_h=leaks[0],
        discharge=DISCHARGE_LOW,
        wind_coefficient=WIND_COEFFICIENT_AGAINST,
        floor_breathes=False,
    )
    airy = replace(
        middle,
        leak_per_h=leaks[2],
        discharge=DISCHARGE_HIGH,
        wind_coefficient=WIND_COEFFICIENT_HIGH,
    )
    corners = [middle]
    for aired in (tight, airy):
        corners += [
            replace(
                aired,
                power=1 + POWER_SPREAD,
                breath=1 + ASLEEP_SPREAD,
                walls=WALL_SPREAD[0],
                flame_out_pct=out_low,
            ),
            replace(
                aired,
                power=min(1 - POWER_SPREAD, least_share),
                breath=1 - ASLEEP_SPREAD,
                walls=WALL_SPREAD[1],
                flame_out_pct=out_high,
            ),
        ]
    return tuple(corners)


def held_down(middle: Scenario) -> Scenario:
    """Return the middle scenario with the least flame: what is counted on for warmth.

    It is the middle scenario itself where the cold does not hold the flame down.
    """
    found = flame(middle.plan)
    return replace(middle, power=found.least_share) if found.is_limited else middle


def inputs_at(
    scenario: Scenario,
    zone: Zone,
    temp_c: float,
    vents: Vents,
    *,
    burning: bool,
    people: People,
    wind_mps: float | None = None,
) -> Inputs:
    """Return what acts on the cabin at an inside temperature."""
    wind = scenario.plan.wind_mps if wind_mps is None else wind_mps
    entering = scenario.leak_m3_s(zone, temp_c)
    entering += scenario.vent_m3_s(vents, temp_c, wind)
    kw = scenario.flame_kw if burning else 0.0
    return Inputs(
        scenario.outside, entering, kw, scenario.gas, CLEAN_CO_FRACTION, people=people
    )


def goes_out(scenario: Scenario, state: ZoneState) -> bool:
    """Return whether the burner goes out for want of oxygen."""
    return readings.o2_dry_pct(state) < scenario.flame_out_pct
