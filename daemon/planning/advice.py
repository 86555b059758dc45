"""What to change tonight, in order of what it is worth to the sleepers."""

from cabinvigil.daemon.planning.night import moments_asleep
from cabinvigil.daemon.planning.openings import CM2_PER_IN2, CO2_LIMIT_PPM, O2_LIMIT_PCT
from cabinvigil.daemon.planning.plan import Plan

WARM_ENOUGH_C = 10.0
"""Below this a sleeper's bag decides, not the heater (common practice, no source)."""


def changes(made: Plan) -> tuple[str, ...]:
    """Give one sentence for each change that is called for; the first weighs most."""
    found = [
        _flame(made),
        _vents(made),
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
    o2, co2 = made.air.o2_pct[1] or 0.0, made.air.co2_ppm[1] or 0.0
    if o2 >= O2_LIMIT_PCT and co2 <= CO2_LIMIT_PPM and not made.air.stops:
        return ""
    needed = made.vent.needed_cm2[2] or made.vent.needed_cm2[1]
    have = made.cabin.vent_low_cm2 + made.cabin.vent_high_cm2
    if needed is None:
        return (
            "Burn less or be fewer: no vent keeps this air inside the limits without "
            "wind."
        )
    if needed <= have:
        return "Keep both vents fully open, half the area low and half high."
    return (
        f"Open {needed - have:.0f} cm2 ({(needed - have) / CM2_PER_IN2:.0f} square "
        f"inches) more, half near the floor and half near the roof."
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
    return (
        f"The pane will run: {dry - have:.0f} cm2 more vent would keep it dry and take "
        f"{made.vent.dry_heat_w or 0.0:.0f} W; wiping it costs nothing."
    )


def _cylinder(made: Plan) -> str:
    hours, night = made.gas.cylinder_hours[0], made.gas.kwh
    if hours is None or made.cabin.burner_kw == 0:
        return ""
    if made.gas.fed_kw < made.cabin.burner_kw and hours < (made.gas.hours_by_gas or 0):
        return (
            f"Take a larger cylinder or propane: in this cold it feeds "
            f"{made.gas.fed_kw:.1f} kW for long, not {made.cabin.burner_kw:.1f}."
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
        f"Pack bags and clothes for {coldest:z.0f} degrees inside by morning, rather "
        "than burn on."
    )
