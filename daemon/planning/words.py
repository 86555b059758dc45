"""The plan in words, for the person who goes to bed."""

import textwrap

from cabinvigil.daemon.air.atmosphere import THIN_FROM_M
from cabinvigil.daemon.air.figures import (
    CUT_OFF_O2_PCT,
    FLAME_OUT_O2_PCT,
    FRESH_O2_PCT,
    LEAK_PER_H,
)
from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan
from cabinvigil.daemon.planning.night import (
    BED_H,
    PlannedNight,
    all_night,
    moments_asleep,
)
from cabinvigil.daemon.planning.openings import CM2_PER_IN2, CO2_LIMIT_PPM, O2_LIMIT_PCT
from cabinvigil.daemon.planning.plan import Plan, Range
from cabinvigil.daemon.text.moments import hour_of_day
from cabinvigil.daemon.text.numbers import bracketed, grouped, or_never
from cabinvigil.daemon.text.units_said import SI, Units

WIDTH = 84

LIMITS_OF_THE_PLAN = (
    "This counts the cabin as one well-mixed room. High and low differ by up to some "
    "points of oxygen where a flame stands high in still air: sensors belong at the "
    "height of the sleepers' heads. Bedding and wood take up water and give it back, "
    "which is left out here, so take the wet as good to a factor of two. Nitrogen "
    "dioxide is neither planned nor measured: unvented burners leave 0.3 to 1.5 ppm "
    "of it, and the WHO asks for no more than 0.1 over an hour. The plan is no "
    "measurement, and no alarm."
)
ADVISED_AGAINST = (
    "Sleeping with an unvented flame lit is advised against by makers, by the trade "
    "and by the rules for boats and vehicles; both nights stand side by side so that "
    "you see why."
)
WHY_RULES_DIFFER = (
    "Why they differ: the thumb and the standards were made for cookers that burn for "
    "minutes and for buildings that leak, and count on some wind. In still air only "
    "the difference in temperature moves the air, and a sleeper breathes it all night."
)


def account(made: Plan, change: tuple[str, ...]) -> str:
    """Give the whole account, ready to print."""
    parts = [
        _head(made),
        _settled(made),
        _shut(made),
        _vent(made),
        _gas(made),
        _wet(made),
        _warmth(made),
        _side_by_side(made),
        ["7. Tonight", *_wrapped(" ".join(change))],
        _wrapped(LIMITS_OF_THE_PLAN, ""),
    ]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _wrapped(text: str, indent: str = "   ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def sign(unit: str, units: Units) -> str:
    """Return what stands behind a number of one of our units in the plan."""
    return "C" if units.unit(unit) == "c" else units.sign(unit)


def _range(triple: Range, decimals: int, unit: str, units: Units = SI) -> str:
    """Write a range; its unit is one of ours, or any other text."""
    low, middle, high = (
        or_never(value, decimals)
        if value is None
        else units.number(unit, value, decimals, " ")
        for value in triple
    )
    likeliest = middle if middle == "never" else f"{middle} {sign(unit, units)}"
    return likeliest if low == high else bracketed(f"{likeliest} ", low, high)


def _line(label: str, text: str) -> str:
    return f"   {label:<31}{text}"


def _windows(burns: tuple[BurnWindow, ...]) -> str:
    return ", ".join(f"{hour_of_day(w.from_h)}-{hour_of_day(w.to_h)}" for w in burns)


def _when(made: Plan) -> str:
    if made.burns == all_night(made.cabin):
        return "all night"
    return _windows(made.burns)


def _head(made: Plan) -> list[str]:
    cabin, units = made.cabin, made.cabin.units
    said = units.given_said
    wind = "still air" if cabin.wind_mps == 0 else f"wind {said('mps', cabin.wind_mps)}"
    flame = "no burner"
    if cabin.burner_kw:
        flame = f"{said('kw', cabin.burner_kw)} {_when(made)}"
    text = (
        f"{said('m3', cabin.volume_m3)}, {cabin.people:g} sleeping, {flame}; vents "
        f"{said('cm2', cabin.vent_low_cm2)} low and "
        f"{said('cm2', cabin.vent_high_cm2)} high; "
        f"{units.given('c', cabin.outside_c)} {sign('c', units)} and "
        f"{cabin.outside_rh_pct:g} % outside, {wind}, "
        f"{said('m', cabin.altitude_m)} up; to bed at {hour_of_day(BED_H)} for "
        f"{cabin.hours:g} h."
    )
    walls = f"walls and panes pass {units.said('w_k', cabin.loss_w_k)}"
    if cabin.wall_w_k is None:
        walls += ", a guess from the volume"
    leak = (
        f"{LEAK_PER_H[0]} to {LEAK_PER_H[2]} air changes an hour with every vent shut, "
        "a guess"
        if cabin.leak_per_h is None
        else f"{cabin.leak_per_h:g} air changes an hour with every vent shut"
    )
    return [
        "Plan for the night",
        *_wrapped(text),
        *_wrapped(f"Taken: {walls}; {leak}."),
        *(_wrapped(f"Read: {'; '.join(cabin.read_as)}.") if cabin.read_as else ()),
        *_wrapped(
            "First the likeliest figure, then in brackets the least and the most of "
            "what nobody can know beforehand."
        ),
    ]


def _settled(made: Plan) -> list[str]:
    air, units = made.air, made.cabin.units
    lines = [
        "1. As it is, once settled" + (" with the burner lit" * bool(_burner(made))),
        _line("oxygen, as breathed", _range(air.o2_pct, 1, "%")),
        *_like_a_height(made),
        _line("carbon dioxide", _range(air.co2_ppm, 0, "ppm")),
        _line("humidity", _range(air.rh_pct, 0, "%")),
        _line("inside temperature", _range(air.temp_c, 0, "c", units)),
        _line("dew point", _range(air.dew_point_c, 0, "c", units)),
        _line("outdoor air coming in", _range(air.air_m3_h, 0, "m3_h", units)),
    ]
    if made.vent_flow.high_m3_h > 0:
        lines += _wrapped(f"The air hangs most on {made.vent_flow.depends_on}.")
    lines += _wrapped(_nearest(made))
    if air.stops or air.may_stop:
        lines += _wrapped(_stops(made))
    return lines


def _like_a_height(made: Plan) -> list[str]:
    """Say what a body gets, where that is like sleeping high up."""
    like_m = made.like_sleeping_at_m
    if like_m < THIN_FROM_M:
        return []
    like = made.cabin.units.said("m", like_m, -2, " ")
    return [_line("like sleeping at", like)]


def _burner(made: Plan) -> float:
    return made.cabin.burner_kw


def _nearest(made: Plan) -> str:
    o2, co2 = made.air.o2_pct[1] or 0.0, made.air.co2_ppm[1] or 0.0
    to_o2 = (FRESH_O2_PCT - o2) / (FRESH_O2_PCT - O2_LIMIT_PCT)
    to_co2 = co2 / CO2_LIMIT_PPM
    if to_co2 >= to_o2:
        past = "is past" if to_co2 > 1 else "comes nearest to"
        return (
            f"Carbon dioxide {past} its limit, {CO2_LIMIT_PPM:.0f} ppm as a mean of "
            f"eight hours ({100 * to_co2:.0f} % of it)."
        )
    past = "is past" if to_o2 > 1 else "comes nearest to"
    return f"Oxygen {past} its limit, {O2_LIMIT_PCT} %."


def _stops(made: Plan) -> str:
    low, middle, high = FLAME_OUT_O2_PCT
    whether = "It does" if made.air.stops else "It may"
    ending = "" if made.air.stops else " at the dangerous end of the range"
    if _burner(made) == 0:
        return f"{whether} not settle{ending}: the figures are those after 36 hours."
    return (
        f"{whether} not settle{ending}: oxygen goes on falling until the flame itself "
        f"dies, near {middle:.0f} % of dry air ({low:g} to {high:g}), where this plan "
        f"stops. A burner's own cut-off, if it works, acts near {CUT_OFF_O2_PCT:g} %."
    )


def _shut(made: Plan) -> list[str]:
    shut = made.shut
    since = "from outdoor air" if shut.from_outdoor_air else "from the settled air"
    lit = "" if shut.lit or _burner(made) == 0 else "; burner off until due"
    lines = [f"2. If every vent shuts or ices at midnight ({since}{lit})"]
    for o2, minutes in shut.minutes_to_o2.items():
        lines.append(_line(f"oxygen at {o2:.1f} %", _range(minutes, 0, "min")))
    for co2, minutes in shut.minutes_to_co2.items():
        lines.append(
            _line(f"carbon dioxide at {grouped(co2)} ppm", _range(minutes, 0, "min"))
        )
    if shut.flame_out_min[0] is not None:
        lines += _wrapped(
            f"The flame may die for want of oxygen after {shut.flame_out_min[0]:.0f} "
            "min; a burning flame proves nothing about the air before that."
        )
    return lines


def _area(cm2: float | None, units: Units) -> str:
    if cm2 is None:
        return "none is enough without wind"
    if units.is_us:
        return units.said("cm2", cm2)
    return f"{cm2:.0f} cm2 = {cm2 / CM2_PER_IN2:.0f} square inches"


def _vent(made: Plan) -> list[str]:
    vent, cabin, units = made.vent, made.cabin, made.cabin.units
    low, middle, high = vent.needed_cm2
    names = {
        "en721": "EN 721, leisure vehicles",
        "pd5482": "PD 5482-3, boats",
        "as5601": "AS/NZS 5601.2, caravans",
    }
    have = cabin.vent_low_cm2 + cabin.vent_high_cm2
    most = "no limit" if high is None else units.number("cm2", high)
    lines = [
        "3. Free vent area, low and high together",
        _line("you have", _area(have, units)),
        _line("needed in still air", _area(middle, units))
        + ("" if low is None else f"  ({units.number('cm2', low)} to {most})"),
        _line("rule of thumb", _area(vent.thumb_cm2, units)),
    ]
    if made.vents.is_enough:
        lines.insert(2, _line("", "enough, at the worst of every figure"))
    for key, cm2 in vent.standards_cm2.items():
        area = "no row found" if cm2 is None else _area(cm2, units)
        lines.append(_line(names[key], area))
    state = vent.at_thumb.state
    if _burner(made):
        lines += _wrapped(
            f"With the thumb's area alone the air would "
            f"{'fall' if vent.at_thumb.stops else 'settle'} in still air to "
            f"{100 * state.o2:.1f} % oxygen and {grouped(1e6 * state.co2)} ppm "
            "carbon dioxide."
        )
    return lines + _wrapped(WHY_RULES_DIFFER)


def _gas(made: Plan) -> list[str]:
    gas, cabin, said = made.gas, made.cabin, made.cabin.units.said
    if _burner(made) == 0:
        return ["4. Gas", *_wrapped("Nothing burns.")]
    lines = [
        "4. Gas",
        _line("for the night", f"{said('kg', gas.kg, 2)} = {said('kwh', gas.kwh, 1)}"),
        _line("a cylinder lasts", _range(gas.cylinder_hours, 0, "h of burning")),
        _line("by its gas alone", f"{or_never(gas.hours_by_gas)} h"),
        _line(
            "in this cold it feeds",
            f"{said('kw', gas.fed_kw, 1)} for as long as it is full",
        ),
        _line("cylinders a week", f"{gas.cylinders_a_week:.1f}"),
    ]
    if gas.fed_kw < cabin.burner_kw:
        lines += _wrapped(
            f"That is less than the burner's "
            f"{cabin.units.given_said('kw', cabin.burner_kw)}: it will burn low "
            "before the gas is gone."
        )
    return lines


def _wet(made: Plan) -> list[str]:
    wet, vent, units = made.wet, made.vent, made.cabin.units
    lines = [
        "5. Wet",
        _line("water from the burner", units.said("l", wet.burner_kg, 2)),
        _line("water from people", units.said("l", wet.people_kg, 2)),
        _line("the pane mists after", _range(wet.mist_from_min, 0, "min")),
        _line("and runs after", _range(wet.runs_from_min, 0, "min")),
        _line("water on panes by morning", _range(wet.ran_down_kg, 2, "l", units)),
    ]
    have = made.cabin.vent_low_cm2 + made.cabin.vent_high_cm2
    if vent.dry_cm2 is None:
        lines += _wrapped("No vent keeps the pane dry in still air.")
    elif vent.dry_cm2 > have:
        lines += _wrapped(
            f"{units.said('cm2', vent.dry_cm2 - have)} more vent would keep the pane "
            f"dry once settled, and take {units.said('w', vent.dry_heat_w or 0)} of "
            "heat."
        )
    else:
        lines += _wrapped("Once settled, the vents as they are keep the pane dry.")
    return lines


def _warmth(made: Plan) -> list[str]:
    first = made.nights[0].moments[0].hour
    last = made.nights[0].moments[-1].hour
    hours = [first + i for i in range(int(last - first + 1e-6) + 1)]
    units = made.cabin.units
    heat = units.said("w", made.vent_heat_w)
    lines = [
        "6. Warmth",
        _line("heat that the vents take", f"{heat} once settled"),
    ]
    for hour in hours:
        temps: list[float] = [way.at(hour).temp_c for way in made.nights]
        lit = "  burner lit" if made.nights[0].at(hour).burning else ""
        triple = (min(temps), temps[0], max(temps))
        lines.append(
            _line(f"inside at {hour_of_day(hour)}", _range(triple, 0, "c", units) + lit)
        )
    return lines


def _side_by_side(made: Plan) -> list[str]:
    if _burner(made) == 0:
        return ["With no burner there is one night only."]
    mine, other, units = made.nights[0], made.other_night, made.cabin.units
    number = units.number
    rows = [
        ("", _when(made), "all night" if _is_all(made) else _windows(made.other_burns)),
        ("lowest oxygen, %", f"{mine.least_o2_pct:.1f}", f"{other.least_o2_pct:.1f}"),
        (
            "most carbon dioxide, ppm",
            grouped(mine.most_co2_ppm),
            grouped(other.most_co2_ppm),
        ),
        (
            "asleep: oxygen, %",
            *(_asleep(made.cabin, n, "o2_pct") for n in (mine, other)),
        ),
        (
            "asleep: carbon dioxide, ppm",
            *(_asleep(made.cabin, n, "co2_ppm") for n in (mine, other)),
        ),
        (
            f"coldest asleep, {sign('c', units)}",
            *(_coldest(made.cabin, night) for night in (mine, other)),
        ),
        (
            f"on panes and walls, {units.sign('l')}",
            *(number("l", n.moments[-1].settled_kg, 2) for n in (mine, other)),
        ),
        (
            f"gas, {units.sign('kwh')}",
            *(number("kwh", night.burnt_kwh, 1) for night in (mine, other)),
        ),
    ]
    table = [f"   {name:<31}{left:<16}{right}" for name, left, right in rows]
    return ["The burner lit, side by side", *table, *_wrapped(ADVISED_AGAINST)]


def _is_all(made: Plan) -> bool:
    return made.other_burns == all_night(made.cabin)


def _asleep(cabin: CabinPlan, night: PlannedNight, what: str) -> str:
    """Give the worst oxygen or CO2 of the hours in which everybody sleeps."""
    values = [getattr(moment, what) for moment in moments_asleep(cabin, night)]
    return f"{min(values):.1f}" if what == "o2_pct" else grouped(max(values))


def _coldest(cabin: CabinPlan, night: PlannedNight) -> str:
    coldest_c = min(moment.temp_c for moment in moments_asleep(cabin, night))
    return cabin.units.number("c", coldest_c)
