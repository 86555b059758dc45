"""The plan in words, for the person who goes to bed."""

from cabinvigil.daemon.air.atmosphere import THIN_FROM_M
from cabinvigil.daemon.air.figures import (
    CUT_OFF_O2_PCT,
    FLAME_OUT_O2_PCT,
    FRESH_O2_PCT,
)
from cabinvigil.daemon.planning.brief import verdict
from cabinvigil.daemon.planning.figures import CabinPlan
from cabinvigil.daemon.planning.heading import head, when, windows
from cabinvigil.daemon.planning.lines import area, areas, lasting, ranged, row, wrapped
from cabinvigil.daemon.planning.night import (
    PlannedNight,
    all_night,
    moments_asleep,
)
from cabinvigil.daemon.planning.openings import (
    CO2_LIMIT_PPM,
    NO_NEW_HEATER,
    O2_LIMIT_PCT,
    STANDARDS,
)
from cabinvigil.daemon.planning.places import HIGH_FLAME_M
from cabinvigil.daemon.planning.plan import Plan
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.moments import hour_of_day
from cabinvigil.daemon.text.numbers import or_never
from cabinvigil.daemon.text.units_said import Units

TOLD_FROM = 1.1
"""Of the settled carbon dioxide: a first hour that is worse by less is no news."""
LIMITS_OF_THE_PLAN = (
    "This plan treats the cabin as one well-mixed room. In still air, a high flame "
    "can make oxygen differ by some points between floor and roof: put sensors at "
    "the height of the sleepers' heads, and near the floor too if the flame is above "
    "{flame}. Bedding and wood absorb water and release it, which is left out here: "
    "condensation may be half or twice as much. Nitrogen dioxide is neither planned "
    "nor measured: unvented burners produce 0.3 to 1.5 ppm, and the WHO's limit is "
    "0.1 over an hour. The plan is not a measurement, and not an alarm."
)
ADVISED_AGAINST = (
    "Makers, the trade and the rules for boats and vehicles advise against sleeping "
    "with an unvented heater lit. The two nights show why."
)
WHY_RULES_DIFFER = (
    "Why they differ: the rule of thumb and the standards are for cookers that burn "
    "for minutes and for buildings that leak, and they count on some wind. In still "
    "air only the temperature difference moves the air, and a sleeper breathes it "
    "all night."
)


def account(made: Plan, change: tuple[str, ...]) -> str:
    """Return the whole account, the verdict first, ready to print."""
    parts = [
        [*wrapped(verdict(made), ""), *wrapped(" ".join(change[:1]), "")],
        head(made),
        _settled(made),
        _shut(made),
        _vent(made),
        _gas(made),
        _wet(made),
        _warmth(made),
        _side_by_side(made),
        ["7. Tonight", *wrapped(" ".join(change))],
        wrapped(
            LIMITS_OF_THE_PLAN.format(
                flame=made.cabin.units.said("m", HIGH_FLAME_M, 1)
            ),
            "",
        ),
    ]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _settled(made: Plan) -> list[str]:
    air, units = made.air, made.cabin.units
    lines = [
        "1. As it is, once settled" + (" with the heater lit" * bool(_burner(made))),
        row("oxygen, as breathed", ranged(air.o2_pct, 1, "%")),
        *_like_a_height(made),
        row("carbon dioxide", ranged(air.co2_ppm, 0, "ppm", units)),
        row("humidity", ranged(air.rh_pct, 0, "%")),
        row("inside temperature", ranged(air.temp_c, 0, "c", units)),
        row("dew point", ranged(air.dew_point_c, 0, "c", units)),
        row("outdoor air coming in", ranged(air.air_m3_h, 0, "m3_h", units)),
    ]
    if made.vent_flow.high_m3_h > 0:
        lines += wrapped(f"This depends most on {made.vent_flow.depends_on}.")
    lines += wrapped(_nearest(made)) + wrapped(_before_it_is_warm(made))
    if air.stops or air.may_stop:
        lines += wrapped(_stops(made))
    return lines


def _like_a_height(made: Plan) -> list[str]:
    """Return what a body gets, where that is like sleeping high up."""
    like_m = made.like_sleeping_at_m
    if like_m < THIN_FROM_M:
        return []
    return [row("like sleeping at", made.cabin.units.said("m", like_m, -2, " "))]


def _burner(made: Plan) -> float:
    return made.cabin.burner_kw


def _nearest(made: Plan) -> str:
    o2, co2 = made.air.o2_pct[1] or 0.0, made.air.co2_ppm[1] or 0.0
    to_o2 = (FRESH_O2_PCT - o2) / (FRESH_O2_PCT - O2_LIMIT_PCT)
    to_co2 = co2 / CO2_LIMIT_PPM
    if to_co2 >= to_o2:
        past = "exceeds" if to_co2 > 1 else "comes closest to"
        return (
            f"Carbon dioxide {past} its limit, {CO2_LIMIT_PPM:.0f} ppm averaged over "
            f"eight hours ({100 * to_co2:.0f} % of it)."
        )
    past = "exceeds" if to_o2 > 1 else "comes closest to"
    return f"Oxygen {past} its limit, {O2_LIMIT_PCT} %."


def _before_it_is_warm(made: Plan) -> str:
    """Say that the night's first hours are worse, where they are: warmth draws air."""
    first, settled_ppm = made.nights[0], made.air.co2_ppm[1] or 0.0
    if made.air.stops or first.most_co2_ppm < TOLD_FROM * settled_ppm:
        return ""
    return (
        "Less air comes in until the cabin is warm: oxygen then falls to "
        f"{first.least_o2_pct:.1f} %, and carbon dioxide reaches "
        f"{_ppm(made, first.most_co2_ppm)} ppm."
    )


def _ppm(made: Plan, ppm: float) -> str:
    return _ppm_in(made.cabin.units, ppm)


def _ppm_in(units: Units, ppm: float) -> str:
    return units.number("ppm", ppm, separator=" ")


def _stops(made: Plan) -> str:
    low, middle, high = FLAME_OUT_O2_PCT
    whether = "It does" if made.air.stops else "It may"
    ending = "" if made.air.stops else " at the dangerous end of the range"
    if _burner(made) == 0:
        return f"{whether} not settle{ending}: the figures are those after 36 hours."
    return (
        f"{whether} not settle{ending}: oxygen keeps falling until the flame goes "
        "out; at what level is not known: in shut rooms the last reading with a "
        f"flame was 14.8 to {high:g} %, and one flame still burned where a sample "
        f"near the ceiling read {low:g} %. This plan stops at {middle:.0f} % of dry "
        f"air. A burner's own cut-off, if it works, acts near {CUT_OFF_O2_PCT:g} %."
    )


def _shut(made: Plan) -> list[str]:
    shut = made.shut
    since = "from outdoor air" if shut.from_outdoor_air else "from settled air"
    lit = "" if shut.lit or _burner(made) == 0 else "; heater off at first"
    lines = [
        f"2. All vents shut or iced at midnight ({since}{lit})",
        row(
            "it starts at",
            f"{shut.from_o2_pct[1]:.1f} % oxygen, "
            f"{_ppm(made, shut.from_co2_ppm[1] or 0)} ppm carbon dioxide",
        ),
    ]
    for o2, after_min in shut.minutes_to_o2.items():
        lines.append(row(f"oxygen at {o2:.1f} %", lasting(after_min)))
    for co2, after_min in shut.minutes_to_co2.items():
        label = f"carbon dioxide at {_ppm(made, co2)} ppm"
        lines.append(row(label, lasting(after_min)))
    if shut.above_flame_min is not None:
        label = f"oxygen at {O2_LIMIT_PCT} %, up high"
        up = made.cabin.units.given_said("m", made.places.burner_height_m or 0.0)
        lines.append(row(label, lasting(shut.above_flame_min)))
        lines += wrapped(
            f"'Up high' is the air above the flame, {up} above the floor, at worst: "
            "if no air from below mixes in."
        )
    if shut.flame_out_min[0] is not None:
        lines += wrapped(
            "The flame may go out for lack of oxygen after "
            f"{minutes(shut.flame_out_min[0])}; a burning flame proves nothing about "
            "the air before that."
        )
    return lines


def _area(cm2: float | None, units: Units, *, up: bool = False) -> str:
    if cm2 is None:
        return "none is enough without wind"
    return area(cm2, units, " = ", up=up)


def _vent(made: Plan) -> list[str]:
    vent, cabin, units = made.vent, made.cabin, made.cabin.units
    low, middle, high = vent.needed_cm2
    have = cabin.vent_low_cm2 + cabin.vent_high_cm2
    most = "no limit" if high is None else units.number("cm2", high)
    lines = [
        "3. Free vent area, low and high together",
        row("you have", _area(have, units)),
        row("", _whether_enough(made)),
        row("needed in still air", _area(middle, units, up=True))
        + ("" if low is None else f"  ({units.number('cm2', low)} to {most})"),
        row("rule of thumb", _area(vent.thumb_cm2, units)),
    ]
    for key, cm2 in vent.standards_cm2.items():
        shown = "no row found" if cm2 is None else _area(cm2, units)
        lines.append(row(STANDARDS[key], shown))
    state = vent.at_thumb.state
    if _burner(made):
        lines += wrapped(
            "With only the rule of thumb's area, still air would "
            f"{'fall' if vent.at_thumb.stops else 'settle'} to {100 * state.o2:.1f} % "
            f"oxygen and {_ppm(made, 1e6 * state.co2)} ppm carbon dioxide."
        )
        lines += wrapped(NO_NEW_HEATER.format(berths=cabin.places))
    return lines + wrapped(WHY_RULES_DIFFER)


def _whether_enough(made: Plan) -> str:
    vents = made.vents
    if vents.is_enough:
        return "enough, even at worst"
    if vents.is_good:
        return "enough by the likeliest figures, not at worst"
    if vents.is_hopeless:
        return "and no area is enough"
    if vents.move_cm2:
        return "enough in total, but wrongly divided: see 7"
    return "not enough: see 7"


def _gas(made: Plan) -> list[str]:
    gas, said = made.gas, made.cabin.units.said
    if _burner(made) == 0:
        return ["4. Gas", *wrapped("No heater.")]
    up_to = "up to " * made.flame.is_limited
    burner = made.cabin.units.given_said("kw", made.cabin.burner_kw)
    night = f"{said('kg', gas.kg, 2)} = {said('kwh', gas.kwh, 1)}"
    lines = [
        "4. Gas",
        row("for the night", f"{up_to}{night}"),
        row("a cylinder outdoors lasts", ranged(gas.cylinder_hours, 0, "h")),
        row("by its gas alone", f"{or_never(gas.hours_by_gas)} h"),
        row(
            "in this cold it supplies", f"{said('kw', gas.fed_kw, 1)} while it is full"
        ),
        row("cylinders a week", f"{up_to}{gas.cylinders_a_week:.1f}"),
    ]
    if made.flame.is_limited:
        lines += wrapped(
            f"That is less than the heater's {burner}: outdoors it burns low, or goes "
            "out, before the cylinder is empty."
        )
    elif gas.fed_kw < made.cabin.burner_kw:
        lines += wrapped(
            f"That is less than the heater's {burner}, but a full one does not cool "
            "so far in this night."
        )
    return lines


def _wet(made: Plan) -> list[str]:
    wet, drying, units = made.wet, made.drying, made.cabin.units
    up_to = "up to " * made.flame.is_limited
    lines = [
        "5. Condensation",
        row("water from the heater", up_to + units.said("kg", wet.burner_kg, 2)),
        row("water from people", units.said("kg", wet.people_kg, 2)),
        row("windows mist after", lasting(wet.mist_from_min)),
        row("water runs after", lasting(wet.runs_from_min)),
        row("water on windows by morning", ranged(wet.ran_down_kg, 2, "kg", units)),
    ]
    advised = "the vents as they are" if made.vents.is_good else "the vents advised"
    if drying.is_hopeless:
        weak = "With the heater weakened by the cold, no" * made.flame.is_limited
        lines += wrapped(f"{weak or 'No'} vent keeps windows dry.")
    elif drying.is_dry:
        lines += wrapped(f"Once settled, {advised} keep windows dry.")
    else:
        lines += wrapped(
            f"{areas(drying.add_low_cm2, drying.add_high_cm2, units)} on top of "
            f"{advised} would keep windows dry once settled, and cost "
            f"{units.said('w', drying.heat_w)} of heat."
        )
    return lines


def _warmth(made: Plan) -> list[str]:
    first = made.nights[0].moments[0].hour
    last = made.nights[0].moments[-1].hour
    hours = [first + i for i in range(int(last - first + 1e-6) + 1)]
    units = made.cabin.units
    heat = units.said("w", made.vent_heat_w)
    lines = [
        "6. Warmth",
        row("heat lost through the vents", f"{heat} once settled"),
    ]
    cold = made.coldest_nights[0]
    for hour in hours:
        likeliest: float = cold.at(hour).temp_c
        temps: list[float] = [likeliest, *(way.at(hour).temp_c for way in made.nights)]
        lit = "  heater lit" if cold.at(hour).burning else ""
        triple = (min(temps), likeliest, max(temps))
        lines.append(
            row(f"inside at {hour_of_day(hour)}", ranged(triple, 0, "c", units) + lit)
        )
    return lines


def _side_by_side(made: Plan) -> list[str]:
    if _burner(made) == 0:
        return ["With no heater there is one night only."]
    mine, other, units = made.nights[0], made.other_night, made.cabin.units
    number = units.number
    rows = [
        ("", when(made), "all night" if _is_all(made) else windows(made.other_burns)),
        ("lowest oxygen, %", f"{mine.least_o2_pct:.1f}", f"{other.least_o2_pct:.1f}"),
        (
            "most carbon dioxide, ppm",
            _ppm(made, mine.most_co2_ppm),
            _ppm(made, other.most_co2_ppm),
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
            f"coldest asleep, {units.sign('c')}",
            *(_coldest(made.cabin, night) for night in made.coldest_nights),
        ),
        (
            f"on windows and walls, {units.sign('kg')}",
            *(number("kg", n.moments[-1].settled_kg, 2) for n in (mine, other)),
        ),
        (
            f"gas, {units.sign('kwh')}",
            *(number("kwh", night.burnt_kwh, 1) for night in (mine, other)),
        ),
    ]
    wide = max(16, *(len(left) + 2 for _, left, _ in rows))
    table = [f"   {name:<31}{left:<{wide}}{right}" for name, left, right in rows]
    return ["Heater lit, two nights side by side", *table, *wrapped(ADVISED_AGAINST)]


def _is_all(made: Plan) -> bool:
    return made.other_burns == all_night(made.cabin)


def _asleep(cabin: CabinPlan, night: PlannedNight, what: str) -> str:
    """Return the worst oxygen or CO2 of the hours in which everybody sleeps."""
    values = [getattr(moment, what) for moment in moments_asleep(cabin, night)]
    return (
        f"{min(values):.1f}" if what == "o2_pct" else _ppm_in(cabin.units, max(values))
    )


def _coldest(cabin: CabinPlan, night: PlannedNight) -> str:
    coldest_c = min(moment.temp_c for moment in moments_asleep(cabin, night))
    return cabin.units.number("c", coldest_c)
