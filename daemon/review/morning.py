"""The morning's account of one night, put together from its log."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from cabinvigil.daemon.air.atmosphere import altitude_like_m
from cabinvigil.daemon.air.cylinder import hhv_kwh_kg
from cabinvigil.daemon.air.figures import PLANNED_PEOPLE
from cabinvigil.daemon.log.night import STEP_S, NightSeries
from cabinvigil.daemon.review.airflow.balance import Balance, Triple, balance
from cabinvigil.daemon.review.airflow.nodes import Told, mean
from cabinvigil.daemon.review.alarm_episodes import AlarmEpisode, alarm_episodes
from cabinvigil.daemon.review.blood import dose
from cabinvigil.daemon.review.cabin_facts import (
    CabinFacts,
    Limit,
    cabin_facts,
    parts_of,
)
from cabinvigil.daemon.review.closest_approach import (
    Approach,
    Spare,
    approaches,
    means,
    spare,
)
from cabinvigil.daemon.review.configs import configs, longest, ruling
from cabinvigil.daemon.review.health import (
    SourceFaults,
    Watched,
    still_at_nothing,
    troubles,
    watched,
)
from cabinvigil.daemon.review.inside import Inside, hours, inside
from cabinvigil.daemon.review.other_air import OtherAir, other_air
from cabinvigil.daemon.review.stretches import Stretch, stretch, stretches
from cabinvigil.daemon.review.tonight import Advice, Situation, advice
from cabinvigil.daemon.review.verdict import WARMING_MIN, NightVerdict, verdict
from cabinvigil.daemon.text.units_said import Units

SHIFT_S = 8 * 3600.0
"""CO2 limits of a working day are means of eight hours (config/limits.toml)."""

LIT_KW = 0.05
"""Less is no burner."""


@dataclass(frozen=True, slots=True)
class Comfort:
    """How it was to sleep in; None where nobody tells."""

    temp_c: tuple[float, float, float] | None
    """Lowest, mean, highest."""
    outside_c: float | None
    dew_c: tuple[float, float] | None
    """Lowest and highest dew point."""
    glass_margin_c: float | None
    """Least distance of the coldest glass above the dew point; negative: wet."""
    wet_h: float
    """Glass at or below the dew point."""
    supply_v: tuple[float, float] | None
    """At the begin and at the lowest."""
    charge_pct: tuple[float, float] | None
    """A gauge's, at the begin and at the lowest."""


@dataclass(frozen=True, slots=True)
class Breathed:
    """What was breathed; None where nobody tells."""

    cohb_peak_pct: float | None
    co_most_ppm: float | None
    co2_most_ppm: float | None
    co2_mean_ppm: float | None
    co2_shift_ppm: float | None
    """The highest mean of eight hours."""
    pm2_5_mean_ugm3: float | None
    like_sleeping_at_m: float | None
    """The height whose outdoor air holds the least oxygen of the night."""
    co_shift_ppm: float | None
    """The highest mean of eight hours, or of the whole of a shorter night."""
    co_known: float = 1.0
    """Share of the night of which CO is known; of the rest the blood took in none."""
    co2_known: float = 1.0
    """The same of CO2; its mean is of what is known."""
    co2_is_at_least: bool = False
    """Whether the CO2 part was at the end of its range: it was this or more."""


@dataclass(frozen=True, slots=True)
class Morning:
    """The account."""

    name: str
    """Of the night: a file's stem."""
    tape: NightSeries
    facts: CabinFacts
    air: Inside
    balance: Balance | None
    verdict: NightVerdict
    near: Sequence[Approach]
    spare: Spare | None
    warned_min: float | None
    """From the first waking alarm on oxygen to the true crossing; None: not crossed."""
    rang: Sequence[AlarmEpisode]
    whole: Stretch
    stretches: Sequence[Stretch]
    comfort: Comfort
    breathed: Breathed
    other: OtherAir
    """Dust and vapours: told beside, and judged by nothing."""
    seen: Sequence[Watched]
    troubles: Sequence[SourceFaults]
    advice: Sequence[Advice]
    laxer: Sequence[str]
    changed_s: Sequence[float] = ()
    """When the config was changed; each part is judged by its own."""

    @property
    def units(self) -> Units:
        """In which people are told of it."""
        return self.facts.units

    @property
    def begins(self) -> datetime | None:
        """The moment of the first line, UTC."""
        return self.tape.moment(0.0)

    @property
    def ends(self) -> datetime | None:
        """The moment of the last line, UTC."""
        return self.tape.moment(self.tape.length_s)

    @property
    def hours(self) -> float:
        """From the first line to the last."""
        return self.tape.length_s / 3600.0

    @property
    def silent_h(self) -> float:
        """Hours of it without a line."""
        return math.fsum(gap.length_s for gap in self.tape.gaps) / 3600.0

    @property
    def cylinder_h(self) -> Triple | None:
        """Hours that a full cylinder lasts at the night's power; None: not known."""
        return self._lasts_h((0.0, 0.0, 0.0))

    @property
    def cylinder_left_h(self) -> Triple | None:
        """Hours left after this night, where the cylinder was full before it."""
        totals = self.whole.totals
        return None if totals is None else self._lasts_h(totals.gas_kg)

    def _lasts_h(self, used_kg: Triple) -> Triple | None:
        totals, full_kg = self.whole.totals, self.facts.cylinder_kg
        if totals is None or full_kg is None or totals.burn_kw[1] <= LIT_KW:
            return None
        if totals.lit_h < totals.unsure_h or totals.bounded_h:
            return None
        each = hhv_kwh_kg(self.facts.liquid)
        # a night that burnt more had more power too: least is left where both were high
        low, middle, high = (
            max(full_kg - used, 0.0) * each / max(kw, LIT_KW)
            for used, kw in zip(
                reversed(used_kg), reversed(totals.burn_kw), strict=True
            )
        )
        return low, middle, high


def morning(
    tape: NightSeries,
    name: str = "night",
    spare_limits: Sequence[Limit] = (),
    units: Units | None = None,
) -> Morning:
    """Return account of a night.

    Args:
        tape: the night.
        name: for its head.
        spare_limits: where the log holds none of its own.
        units: in which people are told of it; None: the cabin's own.
    """
    ran = configs(tape)
    config = longest(ran)
    facts = cabin_facts(config)
    facts = facts if units is None else replace(facts, units=units)
    whole_night = [(0.0, tape.length_s)]
    limits = ruling(ran) or dict.fromkeys(spare_limits, whole_night)
    air = inside(tape, facts)
    found = balance(tape, facts, air)
    blood = dose(tape, facts)
    near, rang = approaches(tape, limits, blood), alarm_episodes(tape.events)
    seen, faults = watched(tape, rang), troubles(tape)
    parts = stretches(tape, facts, air, found)
    comfort, breathed = _comfort(tape, air), _breathed(tape, facts, blood)
    night = Situation(
        facts,
        parts,
        near,
        rang,
        seen,
        faults,
        comfort.wet_h,
        breathed.co_most_ppm or 0.0,
        _co_per_co2(tape, facts),
        comfort.outside_c,
        people_seen(found, facts),
        parts_of(config),
        max((gap.length_s for gap in tape.gaps), default=0.0) / 60.0,
        still_at_nothing(tape),
    )
    return Morning(
        name=name,
        tape=tape,
        facts=facts,
        air=air,
        balance=found,
        verdict=verdict(
            near,
            rang,
            seen,
            tape.gaps,
            tape.slept_s / 3600.0,
            is_cut_off=tape.is_cut_off,
            lacking=[*tape.missing, *tape.damaged],
        ),
        near=near,
        spare=spare(tape),
        warned_min=_warned(tape, list(limits), rang),
        rang=rang,
        whole=stretch(0.0, tape.length_s, "", facts, air, found),
        stretches=parts,
        comfort=comfort,
        breathed=breathed,
        other=other_air(tape, 0.0, tape.length_s),
        seen=seen,
        troubles=faults,
        advice=advice(night),
        laxer=list(dict.fromkeys(text for one in ran for text in one.laxer)),
        changed_s=[one.from_s for one in ran[1:]],
    )


def people_seen(found: Balance | None, facts: CabinFacts) -> float:
    """Give the sleepers that the CO2 tells of, with the burner off; else the config."""
    told = PLANNED_PEOPLE if facts.people is None else facts.people
    if found is None:
        return told
    off = [one.people for one in found.nodes if one.is_known and one.setting == "off"]
    if len(off) * found.step_s < SHIFT_S / 8.0:
        return told
    return sorted(off)[len(off) // 2]


def _co_per_co2(tape: NightSeries, facts: CabinFacts) -> float:
    """Give CO for each CO2 at the moment of the most CO; 0 where it cannot be told."""
    pairs = [
        (co, co2 - facts.outdoor_co2_ppm)
        for co, co2 in zip(
            tape.worst("co_ppm", "above"), tape.worst("co2_ppm", "above"), strict=True
        )
        if co is not None and co2 is not None
    ]
    co, co2 = max(pairs, default=(0.0, 0.0))
    return max(0.0, co) / co2 if co2 > 50.0 else 0.0


def _warned(
    tape: NightSeries, limits: Sequence[Limit], rang: Sequence[AlarmEpisode]
) -> float | None:
    """Return the minutes from the first waking alarm to the oxygen limit's crossing."""
    low = [one.at for one in limits if (one.quantity, one.side) == ("o2_pct", "below")]
    if not low:
        return None
    for n, value in enumerate(tape.worst("o2_pct", "below")):
        if value is not None and value <= max(low):
            crossed_s = n * STEP_S
            rings = [
                one.from_s
                for one in rang
                if one.alarm.startswith(("o2-", "displaced")) and one.rank >= 3
            ]
            first = min(rings, default=crossed_s)
            return max(0.0, crossed_s - first) / 60.0
    return None


def _comfort(tape: NightSeries, air: Inside) -> Comfort:
    temps = [one for one in air.temp_c if one is not None]
    dew = air.dew_point_c(each=DEW_EACH)
    margins = [
        glass - point
        for glass, point in zip(air.glass_c[::DEW_EACH], dew, strict=True)
        if glass is not None and point is not None
    ]
    points = [one for one in dew if one is not None]
    return Comfort(
        (min(temps), math.fsum(temps) / len(temps), max(temps)) if temps else None,
        mean(air.outside_c),
        (min(points), max(points)) if points else None,
        min(margins, default=None),
        hours(air.wet),
        _first_and_lowest(tape, "supply_v"),
        _first_and_lowest(tape, "charge_pct"),
    )


def _first_and_lowest(tape: NightSeries, name: str) -> tuple[float, float] | None:
    told = [one for one in tape.worst(name, "below") if one is not None]
    return (told[0], min(told)) if told else None


DEW_EACH = 4
"""Dew points are worked out every two minutes: no glass warms faster."""


def _breathed(tape: NightSeries, facts: CabinFacts, blood: Sequence[float]) -> Breathed:
    co, co2 = tape.worst("co_ppm", "above"), tape.worst("co2_ppm", "above")
    has_co = any(one is not None for one in co)
    shift = [one for one in means(co2, round(SHIFT_S / STEP_S)) if one is not None]
    return Breathed(
        max(blood, default=None) if has_co else None,
        _most(co),
        _most(co2),
        mean(co2),
        max(shift, default=None),
        mean(tape.worst("pm2_5_ugm3", "above")),
        _like_sleeping_at_m(tape, facts),
        _most_mean(co),
        _known(tape, co),
        _known(tape, co2),
        any(tape.at_least.get(key) for key in tape.keys("co2_ppm")),
    )


def _known(tape: NightSeries, values: Sequence[Told]) -> float:
    """Return of which share of the night, while people were inside, values are known.

    What is missing after a start is warming up, and counts as known.
    """
    warming = round(WARMING_MIN * 60.0 / STEP_S)
    steps = [n for n in range(tape.count) if n not in tape.left_out]
    told = [n for n in steps if values[n] is not None or n < warming]
    return len(told) / len(steps) if steps else 0.0


def _most_mean(values: Sequence[Told]) -> Told:
    """Return the highest mean of eight hours, of all that there is where it is less."""
    width = min(len(values), round(SHIFT_S / STEP_S))
    return _most(means(values, width))


def _like_sleeping_at_m(tape: NightSeries, facts: CabinFacts) -> float | None:
    """Return the height that the least oxygen pressure of the night is like."""
    partial = [one for one in tape.worst("o2_hpa", "below") if one is not None]
    if not partial:
        pressures = tape.worst("pressure_hpa", "below", "")
        partial = [
            o2_pct / 100.0 * (facts.pressure_hpa if pressure is None else pressure)
            for o2_pct, pressure in zip(
                tape.worst("o2_pct", "below"), pressures, strict=True
            )
            if o2_pct is not None
        ]
    return altitude_like_m(min(partial)) if partial else None


def _most(values: Sequence[Told]) -> Told:
    return max((one for one in values if one is not None), default=None)
