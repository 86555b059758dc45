"""From air changes and CO2 to what people ask for: fresh air, gas burnt, water."""

import math
from dataclasses import dataclass
from typing import NamedTuple

from cabinvigil.daemon.air.atmosphere import GAS_CONSTANT_J_MOL_K, ZERO_C_K
from cabinvigil.daemon.air.breathing import (
    Person,
    awake,
    flows,
    measured_sleeper_co2_mol_s,
)
from cabinvigil.daemon.air.combustion import H2O_KG_MOL, Fuel, burn
from cabinvigil.daemon.air.figures import (
    ASLEEP_SPREAD,
    AWAKE_WATER_G_H,
    LIKELY_BURNER_KW,
    LIKELY_BURNER_SD_KW,
    LIKELY_PEOPLE,
    LIKELY_PEOPLE_SD,
    LIKELY_WATER_G_H,
    POWER_AND_VOLUME_SPREAD,
    RESPIRATORY_QUOTIENT,
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
from cabinvigil.daemon.review.airflow.likelihood import AIR, BurnerSetting, Settings
from cabinvigil.daemon.review.airflow.nodes import REFERENCE_C, Told, mean
from cabinvigil.daemon.review.airflow.oxygen import per_co2_dry
from cabinvigil.daemon.review.cabin_facts import CabinFacts
from cabinvigil.daemon.review.inside import Inside

Triple = tuple[float, float, float]
"""The 5, 50 and 95 % points."""
Z90 = 1.645
"""Half of a 90 % interval, in sd (normal)."""
EMPTY, OFF, LOW, HIGH, LIT = "empty", "off", "low", "high", "lit"
"""Settings: nobody there and no burner; people alone; the burner's two; `lit` where its
powers are not known."""
UNSURE = "unsure"
"""Lit or not: the log begins in air that had settled before, and nothing has shown it
since."""
EMPTY_COST = 15.0
"""An empty cabin tells itself by hours of decay; less than this is no such hours."""
LEAST_LIT = 0.4
"""Share of the least power below which nothing burns: it is a guest who breathes."""
GAIN_SPREAD = 0.02
"""Of a CO2 part: 5 % read as three sd (SCD4x data sheet v1.3 p.1), and room."""
PEOPLE_SD = 0.5
"""Persons more or less than on the usual night (own judgement)."""
WATER_SPREAD = 0.35
"""Of a person's water (`LIKELY_WATER_G_H`), with who is there (own judgement)."""
RH_SPREAD = 0.03
"""Of the vapour inside: 2 % RH and half a degree (SHT4x and SCD4x, sensors.md)."""
MEASURED_SPREAD = 0.05
"""Of the vapour outdoors where a part tells it."""
OUTSIDE_SPREAD = 0.25
"""Of the vapour outdoors where no sensor tells: 2.5 K and 10 % RH (own judgement)."""


def triple(middle: float, sd: float) -> Triple:
    """Give 5, 50 and 95 % points of something that cannot be negative."""
    return max(0.0, middle - Z90 * sd), max(0.0, middle), max(0.0, middle + Z90 * sd)


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
    is_full: bool = False
    """Whether the CO2 part was at the end of its range."""


@dataclass(frozen=True, slots=True)
class Balance:
    """The night's balance."""

    step_s: float
    nodes: tuple[BalanceNode, ...]
    moved: Moved
    moles: float
    """Gas that the cabin holds at `REFERENCE_C`."""


@dataclass(frozen=True, slots=True)
class _Sources:
    """What people and burner give, mol/s."""

    people_co2: float
    """Asleep."""
    awake_co2: float
    """What they give more while awake."""
    people_sd: float
    people_water: float
    co2_per_kw: float
    w_per_kw: float
    least_lit: float
    """Less CO2 than this comes from no burner of this cabin."""
    settings: dict[str, tuple[float, float]]
    """Power of each setting: mean and sd, kW."""


def balance(tape: NightSeries, facts: CabinFacts, air: Inside) -> Balance | None:
    """Work out the night's balance.

    Returns:
        None where CO2 or the cabin's volume is not known, or too little was told.
    """
    sources, volume_m3 = _sources(facts), facts.volume_m3
    carbon = carbon_of(tape, air, facts.outdoor_co2_ppm, _o2_per_co2(sources, facts))
    if volume_m3 is None or not any(one is not None for one in carbon.told_ppm):
        return None
    moles = air.pressure_hpa * 100.0 * volume_m3
    moles /= GAS_CONSTANT_J_MOL_K * (ZERO_C_K + REFERENCE_C)
    at_s = [n * STEP_S for n in range(tape.count)]
    readings = Readings(
        at_s,
        carbon.told_ppm,
        air.temp_c,
        facts.outdoor_co2_ppm,
        facts.co2_lag_s,
        carbon.beyond_ppm,
    )
    warmth = None
    if mean(air.outside_c) is not None:
        warmth = Warmth(
            air.outside_c,
            moles,
            volume_m3,
            wall_loss_w_k(volume_m3, facts.wall_w_k, facts.glass_u_w_m2k),
            dry_o2_pct(tape, air),
            _flame_o2_per_co2(facts),
            facts.wind_mps,
            facts.vent_height_m,
        )
    more = AwakePeople(sources.awake_co2 * 3600e6 / moles)
    found = moved(readings, _settings(sources, moles), warmth, more)
    if found is None:
        return None
    each = round(found.step_s / STEP_S)
    nodes = tuple(
        _beyond(one, facts, found.nodes[n].s, carbon, slice(n * each, (n + 1) * each))
        for n, one in enumerate(_nodes(found, sources, facts, air, moles, each))
    )
    return Balance(found.step_s, nodes, found, moles)


def _flame_o2_per_co2(facts: CabinFacts) -> float:
    flame = burn(facts.fuel, 1.0)
    return flame.o2_mol_s / flame.co2_mol_s


def _o2_per_co2(sources: _Sources, facts: CabinFacts) -> float:
    """Give the fall of dry oxygen for each CO2 with the burner on its highest."""
    most_kw = max(kw for kw, _ in sources.settings.values())
    flame = most_kw * sources.co2_per_kw
    share = flame / max(flame + sources.people_co2, 1e-12)
    people = per_co2_dry(1.0 / RESPIRATORY_QUOTIENT)
    return people + share * (per_co2_dry(_flame_o2_per_co2(facts)) - people)


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


def _sources(facts: CabinFacts) -> _Sources:
    asleep = measured_sleeper_co2_mol_s()
    people = LIKELY_PEOPLE if facts.people is None else facts.people
    more_or_less = LIKELY_PEOPLE_SD if facts.people is None else PEOPLE_SD
    sd = math.hypot(ASLEEP_SPREAD * people, more_or_less) * asleep
    flame, powers = burn(facts.fuel, 1.0), _powers(facts)
    least_kw = min((kw for kw, _ in powers.values() if kw > 0.0), default=math.inf)
    return _Sources(
        people * asleep,
        people * (flows(awake(Person())).co2_mol_s - asleep),
        sd,
        people * LIKELY_WATER_G_H / 3.6e6,
        flame.co2_mol_s,
        flame.heat_lhv_w,
        LEAST_LIT * least_kw * flame.co2_mol_s,
        powers,
    )


def _powers(facts: CabinFacts) -> dict[str, tuple[float, float]]:
    high, low = facts.burner_kw, facts.burner_low_kw
    if high is None:
        return {OFF: (0.0, 0.0), LIT: (LIKELY_BURNER_KW, LIKELY_BURNER_SD_KW)}
    if high <= 0.0:
        return {OFF: (0.0, 0.0)}
    if low is None or not 0.0 < low < 0.95 * high:
        between = (0.6 * high, 0.2 * high)
        return {
            OFF: (0.0, 0.0),
            LOW: between,
            HIGH: (high, POWER_AND_VOLUME_SPREAD * high),
        }
    return {
        OFF: (0.0, 0.0),
        LOW: (low, POWER_AND_VOLUME_SPREAD * low),
        HIGH: (high, POWER_AND_VOLUME_SPREAD * high),
    }


def _settings(sources: _Sources, moles: float) -> Settings:
    """Give the source of each setting in ppm of the cabin's air an hour."""
    ppm_h = 3600e6 / moles
    settings = {}
    for name, (kw, kw_sd) in sources.settings.items():
        co2 = sources.people_co2 + kw * sources.co2_per_kw
        sd = math.hypot(sources.people_sd, kw_sd * sources.co2_per_kw)
        heat_w = kw * sources.w_per_kw
        flame_share = kw * sources.co2_per_kw / co2 if co2 > 0.0 else 0.0
        settings[name] = BurnerSetting(
            co2 * ppm_h, max(sd * ppm_h, 20.0), heat_w, flame_share
        )
    nearly_none = max(0.1 * sources.people_co2 * ppm_h, 20.0)
    settings[EMPTY] = BurnerSetting(0.0, nearly_none, 0.0, cost=EMPTY_COST)
    return settings


def _nodes(
    found: Moved,
    sources: _Sources,
    facts: CabinFacts,
    air: Inside,
    moles: float,
    each: int,
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
        made.append(_node(node, setting, sources, facts.fuel, gas, wets))
    return tuple(made)


def _node(
    node: NodeAir,
    setting: str,
    sources: _Sources,
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
    elif setting not in (OFF, EMPTY) and burnt < sources.least_lit:
        setting, burnt = UNSURE, max(0.0, burnt)
    elif setting in (OFF, EMPTY):
        # all of it is breath: it tells how many there are
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
    """Give the water carried off, its sd, and the sd of what is left, kg/h.

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
    carried_sd = math.hypot(math.sqrt(node.var_k) * drop, other)
    both = node.cov * water.per_source * drop
    left = water.made_sd**2 + carried_sd**2 - 2.0 * both
    return node.k * drop, carried_sd, math.sqrt(max(left, other**2))
