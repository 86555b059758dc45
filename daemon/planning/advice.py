"""What to change tonight, in order of what it is worth to the sleepers."""

from cabinvigil.daemon.planning.flame import burn_hours
from cabinvigil.daemon.planning.lines import AT_ONCE_MIN, areas, asked
from cabinvigil.daemon.planning.night import moments_asleep
from cabinvigil.daemon.planning.openings import O2_LIMIT_PCT
from cabinvigil.daemon.planning.places import HIGH_FLAME_M, LOW
from cabinvigil.daemon.planning.plan import Plan
from cabinvigil.daemon.text.durations import spoken, whole_minutes

NOTHING = "Nothing to change: keep every vent clear, and the alarms within hearing."
WARM_ENOUGH_C = 10.0
"""Below this a sleeper's bag decides, not the heater (common practice, no source)."""
LEFT_IN_IT = 0.9
"""Of its gas; a cylinder that stops before was stopped by the cold (our choice)."""
TOO_WARM_C = 35.0
"""Nobody lets a cabin get warmer: a burner that does is too big (our choice)."""


def changes(made: Plan) -> tuple[str, ...]:
    """Return one sentence for each change that is called for; the first weighs most."""
    found = [
        _flame(made),
        vent_sentence(made),
        _hot(made),
        _shut(made),
        _two_places(made),
        _wet(made),
        _cylinder(made),
        _cold(made),
    ]
    sentences = tuple(sentence for sentence in found if sentence)
    return sentences or (NOTHING,)


def _burns_asleep(made: Plan) -> bool:
    return made.cabin.burner_kw > 0 and made.shut.lit


def _flame(made: Plan) -> str:
    warmed_up = made.other_night if _burns_asleep(made) else made.nights[0]
    least_pct = warmed_up.least_o2_pct
    if made.cabin.burner_kw > 0 and least_pct < O2_LIMIT_PCT:
        # What is advised instead must not be a danger itself.
        later = "" if made.vents.is_hopeless else " before there is more vent"
        return (
            f"Do not light the heater in here{later}: even if it only warms the cabin "
            f"up before bed, oxygen falls to {least_pct:.1f} %."
        )
    if not _burns_asleep(made):
        return ""
    return (
        "Do not sleep with the heater lit: warm up before bed, turn the gas off at "
        "the cylinder, and light it again in the morning."
    )


def vent_sentence(made: Plan) -> str:
    """Say what to do with the vents; '' where they are good."""
    vents, units = made.vents, made.cabin.units
    if vents.is_good:
        return ""
    if vents.is_hopeless:
        return "Use less heat or sleep fewer: no vent area is enough."
    if vents.move_cm2:
        here, there = ("floor", "roof") if vents.move_cm2 > 0.0 else ("roof", "floor")
        return (
            f"Move {asked(abs(vents.move_cm2), units)} of vent from near the {here} "
            f"to near the {there}."
        )
    more = areas(vents.add_low_cm2, vents.add_high_cm2, units)
    # The morning's advice is for the power that it found: each says for which it is.
    heat = f", for the heater at {units.given_said('kw', made.cabin.burner_kw)}"
    return f"Open more vent: another {more}{heat * (made.cabin.burner_kw > 0.0)}."


def _hot(made: Plan) -> str:
    warm_c = made.air.hot_c
    if warm_c <= TOO_WARM_C or made.cabin.burner_kw == 0:
        return ""
    return (
        "Use low heat, or heat at times only: lit all night, this heater would bring "
        f"the cabin to {made.cabin.units.said('c', warm_c)}."
    )


def _shut(made: Plan) -> str:
    minutes = made.shut.minutes_to_o2[O2_LIMIT_PCT][0]
    if minutes is None or minutes > 60.0 * made.cabin.hours:
        return ""
    if made.shut.from_outdoor_air:
        return (
            "Fit a vent before anyone sleeps here: oxygen falls to 19.5 % in as "
            f"little as {_counted(minutes)}."
        )
    look = "Clear ice and snow from every vent before bed"
    if minutes < AT_ONCE_MIN:
        return (
            f"{look}: at worst, oxygen is below 19.5 % already, and it then falls "
            "further."
        )
    return (
        f"{look}: blocked, oxygen falls to 19.5 % in as little as {_counted(minutes)}."
    )


def _counted(value_min: float) -> str:
    """Write how long something takes, in words: `1 minute`, `2.4 hours`."""
    count, unit = spoken(60.0 * whole_minutes(value_min))
    return f"{count:g} {unit}{'s' * (count != 1.0)}"


def _two_places(made: Plan) -> str:
    if LOW not in made.places.wanted:
        return ""
    ask = (
        "measure oxygen in two places: at the highest sleeper's head, and near the "
        "floor"
    )
    height_m, minutes = made.places.burner_height_m, made.shut.above_flame_min
    units = made.cabin.units
    if height_m is None:
        return (
            f"Unless the flame is below {units.said('m', HIGH_FLAME_M, 1)}, {ask}: "
            "used air stays above a high flame (give its height: --burner-height-m, or "
            "burner_height_m in a config)."
        )
    soon = ""
    if minutes and minutes[0] is not None and minutes[0] >= AT_ONCE_MIN:
        soon = (
            ", and with the vents shut may fall to 19.5 % in as little as "
            f"{_counted(minutes[0])}"
        )
    up = units.given_said("m", height_m)
    return f"The flame is {up} above the floor; used air stays above it{soon}: {ask}."


def _wet(made: Plan) -> str:
    drying, units = made.drying, made.cabin.units
    if made.wet.runs_from_min[1] is None or drying.is_dry:
        return ""
    if drying.is_hopeless:
        return (
            "Windows will run with water, and no vent prevents it: wipe them in "
            "the morning."
        )
    more = areas(drying.add_low_cm2, drying.add_high_cm2, units)
    return (
        f"Windows will run with water: another {more} would keep them dry and cost "
        f"{units.said('w', drying.heat_w)} of heat; wiping costs nothing."
    )


def _cylinder(made: Plan) -> str:
    hours, likeliest, _ = made.gas.cylinder_hours
    by_gas = made.gas.hours_by_gas
    if hours is None or likeliest is None or by_gas is None:
        return ""
    is_short = hours < burn_hours(made.burns)
    if not made.flame.is_limited and not is_short:
        return ""
    if not made.flame.is_limited and likeliest > LEFT_IN_IT * by_gas:
        return f"Have a second cylinder ready: this one lasts {hours:.0f} hours."
    wants = ["a larger cylinder"] if made.flame.least_kw > 0.0 else []
    if made.cabin.fuel.get("propane", 0.0) < 1.0:
        wants.insert(0, "propane")
    take = f"Take {' or '.join(wants) or 'another gas'}"
    if made.flame.is_limited:
        units = made.cabin.units
        least = units.said("kw", made.flame.least_kw, 1)
        most = units.given("kw", made.flame.most_kw)
        return (
            f"{take}: outdoors in this cold this one supplies {least} for long, not "
            f"{most}."
        )
    return (
        f"{take}: outdoors this one cools down in use, and may stop after {hours:.0f} "
        "hours with gas left."
    )


def _cold(made: Plan) -> str:
    asleep = moments_asleep(made.cabin, made.coldest_nights[0])
    coldest = min(moment.temp_c for moment in asleep)
    held_down = made.flame.is_limited
    if coldest >= WARM_ENOUGH_C or (_burns_asleep(made) and not held_down):
        return ""
    rather = ", instead of leaving the heater on" if made.cabin.burner_kw else ""
    if _burns_asleep(made):
        rather = ": the cold may weaken the heater"
    inside = made.cabin.units.said("c", coldest)
    return f"Pack sleeping bags and clothes for {inside} inside while asleep{rather}."
