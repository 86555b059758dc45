"""From air changes and CO2 to what people ask for: fresh air, gas burnt, water."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from cabinvigil.daemon.air.atmosphere import GAS_CONSTANT_J_MOL_K, ZERO_C_K
from cabinvigil.daemon.air.combustion import H2O_KG_MOL, Fuel
from cabinvigil.daemon.air.figures import (
    AWAKE_WATER_G_H,
    LIKELY_WATER_G_H,
    wall_loss_w_k,
)
from cabinvigil.daemon.log.night import STEP_S, NightSeries
from cabinvigil.daemon.review.airflow.air_moved import (
    AwakePeople,
    Moved,
    NodeAir,
    Readings,
    Warmth,
    moved,
)
from cabinvigil.daemon.review.airflow.carbon import Carbon, carbon_of, dry_o2_pct
from cabinvigil.daemon.review.airflow.cycles import cycles_of
from cabinvigil.daemon.review.airflow.doors import DOOR_SPREAD
from cabinvigil.daemon.review.airflow.guess import AIR
from cabinvigil.daemon.review.airflow.nodes import REFERENCE_C, Told, mean
from cabinvigil.daemon.review.airflow.sources import (
    EMPTY,
    OFF,
    ON_OFF,
    UNSURE,
    Sources,
    flame_o2_per_co2,
    o2_per_co2,
    settings_of,
    sources_of,
    swings_of,
)
from cabinvigil.daemon.review.cabin_facts import CabinFacts
from cabinvigil.daemon.review.inside import Inside

Triple = tuple[float, float, float]
"""The 5, 50 and 95 % points."""
Z90 = 1.645
"""Half of a 90 % interval, in sd (normal)."""
GAIN_SPREAD = 0.02
"""Of a CO2 part: 5 % read as three sd (SCD4x data sheet v1.3 p.1), and room."""
WATER_SPREAD = 0.35
"""Of a person's water (`LIKELY_WATER_G_H`), with who is there (own judgement)."""
RH_SPREAD = 0.03
"""Of the vapour inside: 2 % RH and half a degree (SHT4x and SCD4x, sensors.md)."""
MEASURED_SPREAD = 0.05
"""Of the vapour outdoors where a part tells it."""
OUTSIDE_SPREAD = 0.25
"""Of the vapour outdoors where no sensor tells: 2.5 K and 10 % RH (own judgement)."""


MOST_SKEW = 2.5
"""Times the lower half of an interval, at the most, that its upper half is wide (own
judgement)."""


def triple(middle: float, sd: float) -> Triple:
    """Return 5, 50 and 95 % points of something that cannot be negative.

    Errors are shares of what is found, so what comes out too small has too small an sd:
    the upper end lies as many times above the middle as the lower lies below.
    """
    off = Z90 * sd
    skew = middle / (middle - off) if middle > off else MOST_SKEW
    return (
        max(0.0, middle - off),
        max(0.0, middle),
        max(0.0, middle + min(skew, MOST_SKEW) * off),
    )


class BalanceNode(NamedTuple):
    """What was so at one node of the balance, each with its sd."""

    at_s: float
    is_known: bool
    changes_per_h: float
    changes_sd: float
    burn_kw: float
    burn_sd: float
    setting: str
    made_kg_h: float
    """Water that burner and people make."""
    made_sd: float
    people: float
    """Sleepers that the CO2 would tell of, were all of it breath; what the config says
    while the burner is lit."""
    carried_kg_h: float
    """Water that the air carries off, less what it brings."""
    carried_sd: float
    left_sd: float
    """Of the difference of the two, whose errors go together."""
    guests_kg_h: float = 0.0
    """Water of guests, at the most, that CO2 does not tell from the burner's."""
    lit_share: float = 1.0
    """Of the time, where the burner goes on and off by itself."""
    lit_sd: float = 0.0
    is_full: bool = False
    """Whether the CO2 part was at the end of its range."""
    door_per_h: float = 0.0
    """Air changes beside `changes_per_h`, by a door that stood open."""


@dataclass(frozen=True, slots=True)
class Balance:
    """The night's balance."""

    step_s: float
    nodes: tuple[BalanceNode, ...]
    moved: Moved
    moles: float
    """Gas that the cabin holds at `REFERENCE_C`."""


def balance(tape: NightSeries, facts: CabinFacts, air: Inside) -> Balance | None:
    """Work out the night's balance.

    Returns:
        None where CO2 or the cabin's volume is not known, or too little was told.
    """
    sources, volume_m3 = sources_of(facts), facts.volume_m3
    carbon = carbon_of(tape, air, facts.outdoor_co2_ppm, o2_per_co2(sources, facts))
    if volume_m3 is None or not any(one is not None for one in carbon.told_ppm):
        return None
    moles = air.pressure_hpa * 100.0 * volume_m3
    moles /= GAS_CONSTANT_J_MOL_K * (ZERO_C_K + REFERENCE_C)
    at_s = [n * STEP_S for n in range(tape.count)]
    cycles = cycles_of(air.temp_c, STEP_S)
    readings = Readings(
        at_s,
        carbon.told_ppm,
        air.temp_c,
        facts.outdoor_co2_ppm,
        facts.co2_lag_s,
        carbon.beyond_ppm,
        swings_of(sources, cycles, moles),
        cycles.period_s,
    )
    warmth = None
    if mean(air.outside_c) is not None:
        warmth = Warmth(
            air.outside_c,
            moles,
            volume_m3,
            wall_loss_w_k(volume_m3, facts.wall_w_k, facts.glass_u_w_m2k),
            dry_o2_pct(tape, air),
            flame_o2_per_co2(facts),
            facts.wind_mps,
            facts.vent_height_m,
        )
    more = AwakePeople(sources.awake_co2 * 3600e6 / moles)
    settings = settings_of(sources, moles, cycles)
    found = moved(readings, settings, warmth, more)
    if found is None:
        return None
    each = round(found.step_s / STEP_S)
    duty = [
        mean(cycles.duty[n * each : (n + 1) * each]) or 0.0
        for n in range(len(found.nodes))
    ]
    nodes = tuple(
        _beyond(one, facts, found.nodes[n].s, carbon, slice(n * each, (n + 1) * each))
        for n, one in enumerate(
            _nodes(found, sources, facts, air, moles, each, (duty, cycles.duty_sd))
        )
    )
    return Balance(found.step_s, nodes, found, moles)


def _beyond(
    node: BalanceNode, facts: CabinFacts, s: float, carbon: Carbon, steps: slice
) -> BalanceNode:
    """Widen or bound what was so while the CO2 part was at the end of its range."""
    full = [carbon.full[n] for n in range(steps.start, steps.stop) if n in carbon.full]
    if full:
        return _bounded(node, facts, s, max(full))
    return unsure(node, max(carbon.doubt[steps], default=0.0))


def unsure(node: BalanceNode, share: float) -> BalanceNode:
    """Widen a node by a share of what it holds."""
    if share <= 0.0:
        return node
    return node._replace(
        changes_sd=math.hypot(node.changes_sd, share * node.changes_per_h),
        burn_sd=math.hypot(node.burn_sd, share * node.burn_kw),
        made_sd=math.hypot(node.made_sd, share * node.made_kg_h),
        carried_sd=math.hypot(node.carried_sd, share * node.carried_kg_h),
        left_sd=math.hypot(node.left_sd, share * node.made_kg_h),
    )


def _bounded(
    node: BalanceNode, facts: CabinFacts, s: float, full_ppm: float
) -> BalanceNode:
    """Hold the air below what would let CO2 be at its part's end."""
    most = s / max(full_ppm - facts.outdoor_co2_ppm, 1.0)
    return node._replace(
        is_full=True, changes_per_h=min(node.changes_per_h, most), is_known=False
    )


def _nodes(
    found: Moved,
    sources: Sources,
    facts: CabinFacts,
    air: Inside,
    moles: float,
    each: int,
    duties: tuple[Sequence[float], float],
) -> tuple[BalanceNode, ...]:
    setting, made = found.start, []
    if found.starts & {EMPTY, OFF} and found.starts - {EMPTY, OFF}:
        setting = UNSURE
    changes = [one for one in found.changes if one.kind != AIR]
    temps, inside = air.temp_c, air.vapour_hpa
    for n, node in enumerate(found.nodes):
        while changes and changes[0].at_s <= node.at_s:
            setting = changes.pop(0).kind
        steps = slice(n * each, (n + 1) * each)
        temp, vapour = mean(temps[steps]), mean(inside[steps])
        outside = mean(air.outside_hpa[steps])
        kelvin = ZERO_C_K + (REFERENCE_C if temp is None else temp)
        gas = moles * (ZERO_C_K + REFERENCE_C) / kelvin
        wet = None if vapour is None else vapour / air.pressure_hpa
        wet_outside = None if outside is None else outside / air.pressure_hpa
        wets = (wet, wet_outside, air.outside_is_measured)
        one = _node(node, setting, sources, facts.fuel, gas, wets)
        if setting == ON_OFF and duties[0][n] > 0.0:
            one = one._replace(lit_share=duties[0][n], lit_sd=duties[1])
        made.append(one)
    return tuple(made)


def _node(
    node: NodeAir,
    setting: str,
    sources: Sources,
    fuel: Fuel,
    gas: float,
    wets: tuple[Told, Told, bool],
) -> BalanceNode:
    to_mol = gas / 3600e6
    co2, co2_sd = node.s * to_mol, math.sqrt(node.var_s) * to_mol
    co2_sd = math.hypot(co2_sd, GAIN_SPREAD * co2)
    is_awake = AwakePeople.share(node.at_s / 3600.0)
    people = sources.people_co2 + is_awake * sources.awake_co2
    burnt, burnt_sd = co2 - people, math.hypot(co2_sd, sources.people_sd)
    people_water = sources.people_water
    water_g_h = LIKELY_WATER_G_H + is_awake * (AWAKE_WATER_G_H - LIKELY_WATER_G_H)
    people_water *= water_g_h / LIKELY_WATER_G_H
    if setting == UNSURE:
        burnt = max(0.0, burnt)
    elif setting not in (OFF, EMPTY, ON_OFF) and burnt < sources.least_lit:
        setting, burnt = UNSURE, max(0.0, burnt)
    elif setting in (OFF, EMPTY):
        # all of it is breath: it shows how many there are
        setting, burnt = (EMPTY if setting == EMPTY else OFF), 0.0
        people_water *= max(0.0, co2) / max(people, 1e-9)
    per_co2 = fuel.hydrogen / 2.0 / fuel.carbon * TO_KG_H
    people_kg_h = people_water * 3600.0
    water = _Water(
        burnt * per_co2 + people_kg_h,
        math.hypot(per_co2 * burnt_sd, WATER_SPREAD * people_kg_h),
        per_co2 * to_mol,
    )
    return BalanceNode(
        node.at_s,
        node.is_known,
        node.k,
        math.sqrt(node.var_k),
        burnt / sources.co2_per_kw,
        burnt_sd / sources.co2_per_kw,
        setting,
        water.made,
        water.made_sd,
        people_kg_h * 1000.0 / water_g_h,
        *_carried(node, water, gas / 3600.0 * TO_KG_H, wets),
        0.0 if setting in (OFF, EMPTY) else sources.guests_water * 3600.0,
        door_per_h=node.door,
    )


TO_KG_H = 3600.0 * H2O_KG_MOL
"""Kilograms of water an hour, for each mole a second."""


class _Water(NamedTuple):
    made: float
    made_sd: float
    per_source: float
    """Water made for each ppm/h of CO2."""


def _carried(
    node: NodeAir, water: _Water, per_change: float, wets: tuple[Told, Told, bool]
) -> tuple[float, float, float]:
    """Return the water carried off, its sd, and the sd of what is left, kg/h.

    Args:
        node: the air.
        water: what is made.
        per_change: kilograms of gas-filling vapour that an air change an hour moves.
        wets: mole fractions of vapour inside and outside, and whether the latter is
            measured.
    """
    wet, wet_outside, is_measured = wets
    if wet is None or wet_outside is None:
        return 0.0, 0.0, water.made_sd
    drop = per_change * (wet - wet_outside)
    spread = MEASURED_SPREAD if is_measured else OUTSIDE_SPREAD
    wet_sd = math.hypot(RH_SPREAD * wet, spread * wet_outside)
    other = node.k * per_change * wet_sd
    by_door = DOOR_SPREAD * node.door * drop
    carried_sd = math.hypot(math.sqrt(node.var_k) * drop, other, by_door)
    both = node.cov * water.per_source * drop
    left = water.made_sd**2 + carried_sd**2 - 2.0 * both
    carried = (node.k + node.door) * drop
    return carried, carried_sd, math.sqrt(max(left, other**2))
