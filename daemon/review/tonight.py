"""What to change tonight: at most four things, each with its expected effect."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from cabinvigil.daemon.air.figures import CLEAN_CO_FRACTION
from cabinvigil.daemon.review.airflow.balance import Triple
from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode
from cabinvigil.daemon.review.cabin_facts import CabinFacts
from cabinvigil.daemon.review.cabin_model import SettledCase, SettlingCase, settled
from cabinvigil.daemon.review.closest_approach import Approach
from cabinvigil.daemon.review.health import SourceFaults, Watched
from cabinvigil.daemon.review.middle import estimate
from cabinvigil.daemon.review.stretches import Stretch
from cabinvigil.daemon.review.verdict import UNSEEN_MIN
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.units_said import Units
from cabinvigil.drivers.kit.quantity import VITAL

MOST = 4
GOOD_O2_PCT, GOOD_CO2_PPM = 20.0, 5000.0
"""Half a point above the 19.5 % of 29 CFR 1910.146(b); the working day's mean of NIOSH
(config/limits.toml)."""
FACTORS = (1.3, 1.6, 2.0, 2.5, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0)
"""Times the air, or the vents, that are tried."""
FROM_HALF = (0.5, 0.7, 1.0, *FACTORS)
"""Of a pair that is not fitted, and may be smaller than the one to compare with."""
MOST_CM2 = 400.0
"""Openings larger than this are a window, and not worth a figure (our choice)."""
SOOTY_RATIO = 4.0 * CLEAN_CO_FRACTION
"""CO for each CO2: four times a clean heater's is none that is clean (our choice)."""
LEAST_CO_PPM = 5.0
"""Below it a part's own error would make the ratio."""
WET_H = 1.0
BREATHED = frozenset({"o2_pct", "o2_hpa", "co_ppm", "co2_ppm", "cohb_pct"})
NO_FLAME = "Do not sleep with the heater lit"
"""What the plan says too: after a night past a waking limit nothing softer."""
MORE_AIR = "Open more vent, or sleep fewer here"
"""Where no heater is fitted."""


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to change."""

    do: str
    expect: str
    """What the air model, or the trade, expects of it; '' where it cannot be told."""
    now: SettledCase | None = None
    then: SettledCase | None = None


@dataclass(frozen=True, slots=True)
class BetterAir:
    """A way to better air, and how much its air may really be."""

    do: str
    way: SettlingCase
    least: float
    """Times the air that is expected, at its 5 % point."""
    most: float
    is_fitted: bool = False
    """Cut for it: it must be enough at its least, or the next morning asks for more."""


@dataclass(frozen=True, slots=True)
class Better:
    """A change that the air model finds good."""

    do: str
    then: SettledCase
    worst: SettledCase
    """With the least air that it may give; `best` with the most."""
    best: SettledCase
    now: SettledCase | None


@dataclass(frozen=True, slots=True)
class Situation:
    """What the night was like."""

    facts: CabinFacts
    stretches: Sequence[Stretch]
    near: Sequence[Approach]
    rang: Sequence[AlarmEpisode]
    seen: Sequence[Watched]
    troubles: Sequence[SourceFaults]
    wet_h: float
    most_co_ppm: float
    co_per_co2: float
    """When CO was highest: what the flame gives, people's CO2 with it."""
    outside_c: float | None
    people: float
    parts: Mapping[str, Sequence[str]]
    """By quantity, the parts that give it."""
    silent_min: float = 0.0
    """The longest time of which nothing was recorded."""
    still: Sequence[str] = ()
    """Carbon monoxide series that showed nothing but nothing."""

    @property
    def was_past_a_limit(self) -> bool:
        """Whether the air was past a limit that wakes people."""
        return any(
            one.margin <= 0.0 and RANKS.get(one.limit.priority, 0) >= RANKS["medium"]
            for one in self.near
            if one.limit.quantity in BREATHED
        )


IN_DOUBT = "sensor-warming"
"""Of a sensor that is cold, damp, dry or warming up: it passes without a repair."""
CERTIFIED = {
    "contact-co": Advice(
        "Light no flame in here until the heater is serviced, and every sensor of "
        "ours that showed nothing is tried with test gas",
        "the carbon monoxide alarm stays silent",
    ),
    "contact-smoke": Advice(
        "Find what smoked before anybody sleeps here", "the smoke alarm stays silent"
    ),
    "contact-bilge": Advice(
        "Find where the water came in before the next night aboard",
        "the float stays down",
    ),
}
"""What to change after a contact has sounded."""


def advice(night: Situation) -> list[Advice]:
    """Return at most four things to change, the gravest first."""
    return list(_all(night))[:MOST]


def _all(night: Situation) -> Iterator[Advice]:
    rang = {one.alarm for one in night.rang}
    if not rang.isdisjoint(("displaced-air", "gas-leak", "contact-gas")):
        yield Advice(
            "Close the cylinder now and air out; find the leak with soapy water "
            "before the heater is lit again",
            "oxygen then falls only as CO2 rises",
        )
    for alarm, told in CERTIFIED.items():
        if alarm in rang:
            yield told
    yield from _cleaner(night)
    air = list(_more_air(night))
    yield from air
    yield from _sensors(night)
    if "supply-low" in rang:
        yield Advice("Charge the battery before the night", "the monitor lasts it out")
    if not air:
        yield from _drier(night)


def _way(night: Situation, one: Stretch) -> SettlingCase | None:
    """Return what acted on the cabin in a stretch."""
    if one.totals is None or night.outside_c is None:
        return None
    return SettlingCase(
        # nobody opens the door by night for the air's sake
        one.totals.air_m3_h[1] - one.totals.door_m3_h,
        one.totals.burn_kw[1] if one.totals.lit_h > 0.0 else 0.0,
        night.people,
        night.outside_c,
    )


def _cleaner(night: Situation) -> Iterator[Advice]:
    """Ask for a clean burner, where it gives more CO for its CO2 than a clean one."""
    if night.most_co_ppm < LEAST_CO_PPM or night.co_per_co2 < SOOTY_RATIO:
        return
    clean_ppm = night.most_co_ppm * CLEAN_CO_FRACTION / night.co_per_co2
    yield Advice(
        "Do not light the heater again before it is cleaned and its flame is checked",
        f"a clean flame would have made {clean_ppm:.0f} ppm CO, not "
        f"{night.most_co_ppm:.0f}",
    )


def _short_of_air(night: Situation) -> Approach | None:
    """Find the approach that asks for more air."""
    for one in night.near:
        limit = one.limit
        is_o2 = limit.quantity == "o2_pct" and limit.side == "below"
        if is_o2 and one.value < GOOD_O2_PCT:
            return one
        if limit.quantity == "co2_ppm" and one.value > GOOD_CO2_PPM:
            return one
    return None


def _is_good(then: SettledCase) -> bool:
    return then.o2_pct >= GOOD_O2_PCT and then.co2_ppm <= GOOD_CO2_PPM


def _is_dry(then: SettledCase) -> bool:
    return then.dew_point_c < then.glass_c


def _more_air(night: Situation) -> Iterator[Advice]:
    short = _short_of_air(night)
    if short is None:
        return
    # That nothing burnt is only ever likely; that nothing can is in the config.
    has_heater = night.facts.burner_kw != 0.0
    if night.was_past_a_limit and has_heater:
        yield Advice(_no_flame(night.facts), "")
    found = _better(night, short.at_s, _is_good)
    if found is None:
        if not has_heater:
            yield Advice(MORE_AIR, "")
        elif not night.was_past_a_limit:
            yield Advice(_no_flame(night.facts), "")
        return
    then, worst, best = found.then, found.worst, found.best
    units = night.facts.units
    expect = (
        f"oxygen settles at {then.o2_pct:.1f} % ({worst.o2_pct:.1f} to "
        f"{best.o2_pct:.1f}), CO2 at {_co2(units, then)} ppm ({_co2(units, best)} to "
        f"{_co2(units, worst)})"
    )
    if found.now is not None:
        now = found.now
        expect += f"; with last night's air {now.o2_pct:.1f} %, {_co2(units, now)} ppm"
    do = found.do
    if night.was_past_a_limit and has_heater and not do.startswith(NO_FLAME):
        do = f"While the heater is lit: {do[0].lower()}{do[1:]}"
    expect += _warmth(found.now, then, units)
    yield Advice(do, expect, found.now, then)


def _co2(units: Units, one: SettledCase) -> str:
    """Write it to the hundred, as carbon dioxide is known."""
    return units.number("ppm", one.co2_ppm, -2, separator=" ")


def _drier(night: Situation) -> Iterator[Advice]:
    told = [one for one in night.stretches if one.totals is not None]
    if night.wet_h < WET_H or not told:
        return
    longest = max(told, key=lambda one: one.to_s - one.from_s)
    found = _better(night, longest.from_s, _is_dry)
    if found is None:
        return
    then, worst, best = found.then, found.worst, found.best
    said, number = night.facts.units.said, night.facts.units.number
    expect = (
        f"dew point {said('c', then.dew_point_c)} ({number('c', best.dew_point_c)} to "
        f"{number('c', worst.dew_point_c)}), window {said('c', then.glass_c)}"
    )
    if found.now is not None:
        now = found.now
        expect += f"; with last night's {number('c', now.dew_point_c)} and "
        expect += number("c", now.glass_c)
    expect += _warmth(found.now, then, night.facts.units)
    yield Advice(found.do, expect, found.now, then)


def _warmth(now: SettledCase | None, then: SettledCase, units: Units) -> str:
    if now is None or abs(now.temp_c - then.temp_c) < 0.5:
        return ""
    colder = now.temp_c - then.temp_c
    way = "colder" if colder > 0 else "warmer"
    return f"; {units.said('k', abs(colder))} {way}"


def _better(
    night: Situation,
    at_s: float,
    is_good: Callable[[SettledCase], bool],
) -> Better | None:
    """Find the least that must be done for the cabin to settle well."""
    here = [one for one in night.stretches if one.from_s <= at_s < one.to_s]
    lit = [one for one in night.stretches if one.totals and one.totals.lit_h > 0.0]
    for one in (*here, *reversed(lit)):
        way = _way(night, one)
        if way is None or (lit and way.burner_kw == 0.0):
            continue
        now = settled(night.facts, way)
        for change in _ways(night.facts, one, way):
            then = settled(night.facts, change.way)
            if then is None:
                continue
            worst = _with_air(night.facts, change.way, change.least) or then
            if is_good(worst if change.is_fitted else then):
                best = _with_air(night.facts, change.way, change.most) or then
                return Better(change.do, then, worst, best, now)
    return None


def _with_air(facts: CabinFacts, way: SettlingCase, times: float) -> SettledCase | None:
    return settled(facts, replace(way, air_m3_h=way.air_m3_h * times))


def _ways(
    facts: CabinFacts, stretch: Stretch, way: SettlingCase
) -> Iterator[BetterAir]:
    """List what may be done, the least first."""
    vent, totals, units = stretch.vent, stretch.totals, facts.units
    low_kw = facts.burner_low_kw
    is_high = low_kw is not None and way.burner_kw > 1.2 * low_kw
    if totals is None:
        return
    told = _spread(totals.air_m3_h)
    if vent is None or vent.fitted_cm2 is None:
        for factor in FACTORS:
            air_m3_h = max(way.air_m3_h, 1.0) * factor
            do = f"Let in {units.said('m3_h', air_m3_h)} of outdoor air"
            yield BetterAir(do, replace(way, air_m3_h=air_m3_h), 1.0, 1.0)
        return
    fitted, known = vent.expected_m3_h[1], _spread(vent.expected_m3_h)
    they, vents = "it" if vent.is_one else "they", facts.vents_said
    was = (
        f"{they} would pass about {units.said('m3_h', fitted)}, and "
        f"{units.brief('m3_h', estimate(totals.air_m3_h))} {units.sign('m3_h')} came in"
    )
    is_more = fitted > way.air_m3_h and vent.fitted_cm2 > 0.0
    wide = replace(way, air_m3_h=max(fitted, way.air_m3_h))
    open_wide = known if is_more else told
    if is_more:
        yield BetterAir(f"Keep {vents} open and free of rime: {was}", wide, *open_wide)
        if is_high and low_kw is not None:
            do = f"Keep {vents} open, and burn on low: {was}"
            yield BetterAir(do, replace(wide, burner_kw=low_kw), *open_wide)
    elif is_high and low_kw is not None:
        yield BetterAir("Burn on low", replace(wide, burner_kw=low_kw), *open_wide)
    pair_cm2, pair = vent.pair
    for factor in FACTORS if vent.is_two else FROM_HALF:
        cm2 = math.ceil(factor * pair_cm2 / 10.0) * 10.0
        if cm2 <= MOST_CM2:
            area = units.said("cm2", cm2)
            heat = f"{units.figure('kw', way.burner_kw)} {units.sign('kw')}"
            lit = f" for the heater at {heat}" if way.burner_kw > 0.0 else ""
            do = f"Fit a low and a high vent of {area} each{lit}, and keep both open"
            wider = replace(way, air_m3_h=pair[1] * factor)
            yield BetterAir(do, wider, *_spread(pair), is_fitted=True)
    if way.burner_kw > 0.0:
        do = f"{_no_flame(facts)}: {was}"
        yield BetterAir(do, replace(wide, burner_kw=0.0), *open_wide)


def _no_flame(facts: CabinFacts) -> str:
    """Say how to be warm without a flame by night, by the vents that are fitted."""
    if not facts.vents_said:
        return f"{NO_FLAME}, nor light it at all before there is a vent"
    return f"{NO_FLAME}. Warm up before bed, {facts.vents_said} open"


def _spread(triple: Triple) -> tuple[float, float]:
    """Return how many times its middle the ends of an estimate are."""
    low, middle, high = triple
    if middle <= 0.0:
        return 1.0, 1.0
    return max(low, 0.05 * middle) / middle, high / middle


def _sensors(night: Situation) -> Iterator[Advice]:
    if night.silent_min > UNSEEN_MIN:
        yield Advice(
            "Find out why the monitor was silent: its power supply, plugs and card",
            f"the whole night is monitored, where {minutes(night.silent_min)} went "
            "unrecorded",
        )
        return
    doubted = {
        subject
        for kind, _, subject in (one.alarm.partition("/") for one in night.rang)
        if kind == IN_DOUBT
    }
    for one in night.seen:
        if one.quantity in VITAL and one.unseen_min > UNSEEN_MIN:
            faulty = {trouble.source for trouble in night.troubles}
            parts = night.parts.get(one.quantity, ())
            named = next((name for name in parts if name in faulty), None)
            in_doubt = next((name for name in parts if name in doubted), None)
            if named is None and in_doubt is not None:
                yield Advice(
                    f"Let {in_doubt} get warm and dry before bed: it was in doubt, not "
                    "faulty",
                    f"{one.words} is monitored all night, where "
                    f"{minutes(one.unseen_min)} counted as unmonitored",
                )
                continue
            cause = f"{named}, which measures" if named else "the sensor that measures"
            yield Advice(
                f"Check {cause} {one.words}, before you sleep",
                f"{one.words} is monitored all night, where {minutes(one.unseen_min)} "
                "went unmonitored",
            )
    for key in night.still:
        own = night.parts.get("co_ppm", ())
        name = key.partition("__")[2] or next(iter(own), "the sensor")
        if any(one.totals and one.totals.lit_h > 0.0 for one in night.stretches):
            yield Advice(
                f"Try {name} with test gas: it showed one value all night, and no gas, "
                "beside a lit heater",
                "a sensor that sees carbon monoxide shows the can's within a minute",
            )
