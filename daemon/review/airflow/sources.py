"""What people and burner may give: the settings that a night's CO2 is judged by."""

import math
from dataclasses import dataclass

from cabinvigil.daemon.air.breathing import (
    Person,
    awake,
    flows,
    measured_sleeper_co2_mol_s,
)
from cabinvigil.daemon.air.combustion import H2O_KG_MOL, burn
from cabinvigil.daemon.air.figures import (
    ASLEEP_SPREAD,
    LIKELY_BURNER_KW,
    LIKELY_BURNER_SD_KW,
    LIKELY_PEOPLE,
    LIKELY_PEOPLE_SD,
    LIKELY_WATER_G_H,
    POWER_AND_VOLUME_SPREAD,
    RESPIRATORY_QUOTIENT,
)
from cabinvigil.daemon.review.airflow.cycles import Cycles, Swing
from cabinvigil.daemon.review.airflow.guess import BurnerSetting, Settings
from cabinvigil.daemon.review.airflow.oxygen import per_co2_dry
from cabinvigil.daemon.review.cabin_facts import CabinFacts

EMPTY, OFF, LOW, HIGH, LIT = "empty", "off", "low", "high", "lit"
"""Settings: nobody there and no burner; people alone; the burner's two; `lit` where its
powers are not known."""
TURNED, TURNED_SHARE, TURNED_SD, TURNED_COST = "turned", 0.4, 0.22, 0.0
"""A tap that is turned by hand stands anywhere, beneath the lowest stop too: its power
as a share of the highest, with its sd, and what it costs beside the stops (own
judgement)."""
ON_OFF, HIGH_LOW = "on and off", "high and low"
"""A thermostat's two ways, where the warmth shows that it cycles (`cycles`)."""
HIGH_LOW_COST = 2.0
"""Nothing swings so far between two flames as between one and none."""
UNSURE = "unsure"
"""Lit or not: the log begins in air that had settled before, and nothing has shown it
since."""
EMPTY_COST = 15.0
"""An empty cabin tells itself by hours of decay; less than this is no such hours."""
LEAST_LIT = 0.4
"""Share of the least power below which nothing burns: it is a guest who breathes."""
PEOPLE_SD = 0.5
"""Persons more or less than on the usual night (own judgement)."""
BESIDE = "{} and a stove"
"""Of a setting: what burns while somebody cooks on another flame beside it."""
STOVE_KW, STOVE_SD_KW = 1.6, 0.6
"""A stove's burner while one cooks, with its sd (common practice, no source)."""
GUESTS = 3.0
"""At most so many more than the config says breathe beside a burner, unseen: their CO2
passes for a flame's (own judgement); with the burner off they are counted."""


@dataclass(frozen=True, slots=True)
class Sources:
    """What people and burner give, mol/s."""

    people_co2: float
    """Asleep."""
    awake_co2: float
    """What they give more while awake."""
    people_sd: float
    people_water: float
    guests_water: float
    """Of guests, beyond what the flame would have made that they are taken for."""
    co2_per_kw: float
    w_per_kw: float
    least_lit: float
    """Less CO2 than this comes from no burner of this cabin."""
    settings: dict[str, tuple[float, float]]
    """Power of each setting: mean and sd, kW."""


def sources_of(facts: CabinFacts) -> Sources:
    """Return what the config's people and burner give."""
    asleep = measured_sleeper_co2_mol_s()
    people = LIKELY_PEOPLE if facts.people is None else facts.people
    more_or_less = LIKELY_PEOPLE_SD if facts.people is None else PEOPLE_SD
    sd = math.hypot(ASLEEP_SPREAD * people, more_or_less) * asleep
    flame, powers = burn(facts.fuel, 1.0), _powers(facts)
    water_per_co2 = flame.h2o_mol_s / flame.co2_mol_s
    least_kw = min((kw for kw, _ in powers.values() if kw > 0.0), default=math.inf)
    return Sources(
        people * asleep,
        people * (flows(awake(Person())).co2_mol_s - asleep),
        sd,
        people * LIKELY_WATER_G_H / 3.6e6,
        GUESTS * (LIKELY_WATER_G_H / 3.6e6 - water_per_co2 * H2O_KG_MOL * asleep),
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


def settings_of(
    sources: Sources, moles: float, cycles: Cycles | None = None
) -> Settings:
    """Return the source of each setting in ppm of the cabin's air an hour.

    Args:
        sources: of the cabin.
        moles: gas that it holds.
        cycles: of the burner; None: none.
    """
    ppm_h = 3600e6 / moles
    settings = {
        name: _setting(sources, *power, ppm_h)
        for name, power in sources.settings.items()
    }
    if HIGH in sources.settings:
        high_kw, high_sd = sources.settings[HIGH]
        turned = TURNED_SHARE * high_kw, TURNED_SD * high_kw
        settings[TURNED] = _setting(sources, *turned, ppm_h)._replace(
            cost=TURNED_COST, is_between=True
        )
        duty = 0.0 if cycles is None else cycles.mean_duty
        if cycles is not None and duty > 0.0:
            low_kw, _ = sources.settings[LOW]
            for name, least_kw in ((ON_OFF, 0.0), (HIGH_LOW, low_kw)):
                swing_kw = high_kw - least_kw
                kw = least_kw + duty * swing_kw
                kw_sd = math.hypot(high_sd / high_kw * kw, cycles.duty_sd * swing_kw)
                settings[name] = _setting(sources, kw, kw_sd, ppm_h)._replace(
                    is_cycling=True
                )
            settings[HIGH_LOW] = settings[HIGH_LOW]._replace(
                cost=HIGH_LOW_COST, is_between=True
            )
    for name in (OFF, LOW, HIGH, TURNED) if HIGH in sources.settings else ():
        settings[BESIDE.format(name)] = _with_stove(
            sources, name, settings[name], ppm_h
        )
    nearly_none = max(0.1 * sources.people_co2 * ppm_h, 20.0)
    settings[EMPTY] = BurnerSetting(0.0, nearly_none, 0.0, cost=EMPTY_COST)
    return settings


def _setting(sources: Sources, kw: float, kw_sd: float, ppm_h: float) -> BurnerSetting:
    co2 = sources.people_co2 + kw * sources.co2_per_kw
    sd = math.hypot(sources.people_sd, kw_sd * sources.co2_per_kw)
    flame_share = kw * sources.co2_per_kw / co2 if co2 > 0.0 else 0.0
    return BurnerSetting(
        co2 * ppm_h, max(sd * ppm_h, 20.0), kw * sources.w_per_kw, flame_share
    )


def _with_stove(
    sources: Sources, name: str, one: BurnerSetting, ppm_h: float
) -> BurnerSetting:
    per_kw = sources.co2_per_kw * ppm_h
    co2 = one.ppm_per_h + STOVE_KW * per_kw
    flames = one.flame_share * one.ppm_per_h + STOVE_KW * per_kw
    return BurnerSetting(
        co2,
        math.hypot(one.sd_ppm_per_h, STOVE_SD_KW * per_kw),
        one.heat_w + STOVE_KW * sources.w_per_kw,
        flames / co2,
        is_between=True,
        beside=name,
    )


def swings_of(sources: Sources, cycles: Cycles, moles: float) -> list[Swing]:
    """Return how far a cycling burner's source swings at each step; empty: never."""
    mean_duty = cycles.mean_duty
    if HIGH not in sources.settings or mean_duty <= 0.0:
        return []
    flame = sources.settings[HIGH][0] * sources.co2_per_kw
    usual = sources.people_co2 + mean_duty * flame
    most = flame * 3600e6 / moles
    return [
        Swing(
            (sources.people_co2 + duty * flame) / usual,
            most * math.sqrt(duty * (1.0 - duty)),
        )
        if duty > 0.0
        else Swing()
        for duty in cycles.duty
    ]


def flame_o2_per_co2(facts: CabinFacts) -> float:
    """Return the moles of oxygen that the burner takes for each of CO2."""
    flame = burn(facts.fuel, 1.0)
    return flame.o2_mol_s / flame.co2_mol_s


def o2_per_co2(sources: Sources, facts: CabinFacts) -> float:
    """Return the fall of dry oxygen for each CO2 with the burner on its highest."""
    most_kw = max(kw for kw, _ in sources.settings.values())
    flame = most_kw * sources.co2_per_kw
    share = flame / max(flame + sources.people_co2, 1e-12)
    people = per_co2_dry(1.0 / RESPIRATORY_QUOTIENT)
    return people + share * (per_co2_dry(flame_o2_per_co2(facts)) - people)
