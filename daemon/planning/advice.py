"""What to change tonight, in order of what it is worth to the sleepers."""

from cabinvigil.daemon.planning.night import moments_asleep
from cabinvigil.daemon.planning.openings import CM2_PER_IN2, O2_LIMIT_PCT
from cabinvigil.daemon.planning.plan import Plan

WARM_ENOUGH_C = 10.0
"""Below this a sleeper's bag decides, not the heater (common practice, no source)."""
TOO_WARM_C = 35.0
"""Nobody lets a cabin get warmer: a burner that does is too big (own choice)."""
MOST_DRYING_CM2 = 400.0
"""More vent than this is a window, and takes the warmth along (own choice; the morning
says the same)."""


def changes(made: Plan) -> tuple[str, ...]:
    """Give one sentence for each change that is called for; the first weighs most."""
    found = [
        _flame(made),
        _vents(made),
        _hot(made),
        _shut(made),
        _wet(made),
        _cylinder(made),
        _cold(made),
    ]
    sentences = tuple(sentence for sentence in found if sentence)
    return sentences or ("Nothing: keep both vents free, and the alarms in reach.",)


def _burns_asleep(made: Plan) -> bool:
    return made.cabin.burner_kw > 0 and made.shut.lit


def _flame(made: Plan) -> str:
    if not _burns_asleep(made):
        return ""
    return (
        "Do not sleep with the flame lit: warm up before bed, turn the gas off at the "
        "cylinder, and light it again in the morning."
    )


def _vents(made: Plan) -> str:
    vents = made.vents
    if vents.is_good:
        return ""
    if vents.is_hopeless:
        return "Burn less or be fewer: no vent keeps this air inside the limits."
    if vents.move_cm2:
        here, there = ("floor", "roof") if vents.move_cm2 > 0.0 else ("roof", "floor")
        return (
            f"Move {_areas(made, abs(vents.move_cm2))} of vent from near the {here} "
            f"to near the {there}."
        )
    wanted = {"near the floor": vents.add_low_cm2, "near the roof": vents.add_high_cm2}
    places = [f"{_areas(made, cm2)} {where}" for where, cm2 in wanted.items() if cm2]
    return f"Open more vent: {' and '.join(places)}."


def _areas(made: Plan, cm2: float) -> str:
    if made.cabin.units.is_us:
        return made.cabin.units.said("cm2", cm2)
    return f"{cm2:.0f} cm2 ({cm2 / CM2_PER_IN2:.0f} square inches)"


def _degrees(made: Plan, temp_c: float) -> str:
    if made.cabin.units.is_us:
        return made.cabin.units.said("c", temp_c)
    return f"{temp_c:z.0f} degrees"


def _hot(made: Plan) -> str:
    warm_c = made.air.temp_c[1] or 0.0
    if warm_c <= TOO_WARM_C or made.cabin.burner_kw == 0:
        return ""
    return (
        f"Burn low or in turns: lit all the time, this burner would bring the cabin to "
        f"{_degrees(made, warm_c)}."
    )


def _shut(made: Plan) -> str:
    minutes = made.shut.minutes_to_o2[O2_LIMIT_PCT][0]
    if minutes is None or minutes > 60.0 * made.cabin.hours:
        return ""
    if made.shut.from_outdoor_air:
        return (
            f"Make a vent before anyone sleeps here: oxygen is at 19.5 % in as little "
            f"as {minutes:.0f} minutes."
        )
    return (
        f"Look at both vents for ice and snow before bed: shut, oxygen is at 19.5 % in "
        f"as little as {minutes:.0f} minutes."
    )


def _wet(made: Plan) -> str:
    dry, have = made.vent.dry_cm2, made.cabin.vent_low_cm2 + made.cabin.vent_high_cm2
    if made.wet.runs_from_min[1] is None or dry is None or dry <= have:
        return ""
    said = made.cabin.units.said
    if dry - have > MOST_DRYING_CM2:
        return "The pane will run, and no vent dries it: wipe it in the morning."
    return (
        f"The pane will run: {said('cm2', dry - have)} more vent would keep it dry and "
        f"take {said('w', made.vent.dry_heat_w or 0.0)}; wiping it costs nothing."
    )


def _cylinder(made: Plan) -> str:
    hours, night = made.gas.cylinder_hours[0], made.gas.kwh
    units = made.cabin.units
    if hours is None or made.cabin.burner_kw == 0:
        return ""
    if made.gas.fed_kw < made.cabin.burner_kw and hours < (made.gas.hours_by_gas or 0):
        return (
            f"Take a larger cylinder or propane: in this cold it feeds "
            f"{units.said('kw', made.gas.fed_kw, 1)} for long, not "
            f"{units.number('kw', made.cabin.burner_kw, 1)}."
        )
    if hours < night / made.cabin.burner_kw:
        return f"Have a second cylinder ready: this one lasts {hours:.0f} hours."
    return ""


def _cold(made: Plan) -> str:
    asleep = moments_asleep(made.cabin, made.nights[0])
    coldest = min(moment.temp_c for moment in asleep)
    if coldest >= WARM_ENOUGH_C or _burns_asleep(made):
        return ""
    return (
        f"Pack bags and clothes for {_degrees(made, coldest)} inside by morning, "
        "rather than burn on."
    )
