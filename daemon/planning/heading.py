"""The account's head: which cabin and night is planned, and what is only taken."""

from cabinvigil.daemon.air.figures import LEAK_PER_H
from cabinvigil.daemon.planning.figures import ACCEPTED, BurnWindow, CabinPlan
from cabinvigil.daemon.planning.lines import wrapped
from cabinvigil.daemon.planning.night import BED_H, all_night
from cabinvigil.daemon.planning.plan import Plan
from cabinvigil.daemon.text.moments import hour_of_day

OTHER_UNITS = (
    "Without one, a number is in the unit of its option's name; write others as 210ft3."
)


def windows(burns: tuple[BurnWindow, ...]) -> str:
    """Format the times in which the burner is lit."""
    return ", ".join(f"{hour_of_day(w.from_h)}-{hour_of_day(w.to_h)}" for w in burns)


def when(made: Plan) -> str:
    """Return when the burner is lit."""
    if made.burns == all_night(made.cabin):
        return "all night"
    return windows(made.burns)


def summary(made: Plan) -> list[str]:
    """Return which cabin and night is planned."""
    cabin = made.cabin
    read = f"Read: {'; '.join(cabin.read_as)}." if cabin.read_as else ""
    told = (_whose(cabin, most=3), _cabin(made), read, _bare(cabin), _held_down(made))
    return [line for text in told for line in wrapped(text, "")]


def _bare(cabin: CabinPlan) -> str:
    """Say what numbers without a unit were taken for, and how to write others."""
    if not cabin.read_bare:
        return ""
    return f"Read without a unit: {'; '.join(cabin.read_bare)}. {OTHER_UNITS}"


def _cabin(made: Plan) -> str:
    cabin, units = made.cabin, made.cabin.units
    said = units.given_said
    wind = "still air" if cabin.wind_mps == 0 else f"wind {said('mps', cabin.wind_mps)}"
    flame = "no heater"
    if cabin.burner_kw:
        flame = f"{said('kw', cabin.burner_kw)} {when(made)}"
    return (
        f"{said('m3', cabin.volume_m3)}, {cabin.people:g} sleeping, {flame}; vents "
        f"{said('cm2', cabin.vent_low_cm2)} low and "
        f"{said('cm2', cabin.vent_high_cm2)} high; "
        f"{units.given_said('c', cabin.outside_c)} and "
        f"{cabin.outside_rh_pct:g} % outside, {wind}, "
        f"{said('m', cabin.altitude_m)} up; to bed at {hour_of_day(BED_H)} for "
        f"{cabin.hours:g} h."
    )


def head(made: Plan) -> list[str]:
    """Return what is planned, and what is only taken."""
    cabin, units = made.cabin, made.cabin.units
    walls = f"heat loss {units.said('w_k', cabin.loss_w_k)}"
    if cabin.wall_w_k is None:
        walls += ", estimated from the volume"
    leak = (
        f"{LEAK_PER_H[0]} to {LEAK_PER_H[2]} air changes an hour with every vent "
        "shut, estimated"
        if cabin.leak_per_h is None
        else f"{cabin.leak_per_h:g} air changes an hour with every vent shut"
    )
    return [
        "Plan for the night",
        *wrapped(_whose(cabin)),
        *wrapped(_cabin(made)),
        *wrapped(f"Assumed: {walls}; {leak}."),
        *(wrapped(f"Read: {'; '.join(cabin.read_as)}.") if cabin.read_as else ()),
        *wrapped(_bare(cabin)),
        *wrapped(_held_down(made)),
        *wrapped(
            "The likeliest figure first; in brackets the range for what cannot be "
            "known beforehand."
        ),
    ]


def _whose(cabin: CabinPlan, most: int | None = None) -> str:
    """Return what of the cabin is the example's.

    Args:
        cabin: as planned.
        most: so many names are told; None is all of them.
    """
    mine = CabinPlan(hours=cabin.hours, burns=cabin.burns)
    if cabin == mine:
        return "The example's cabin: the Lapwing, a trailer."
    names = [
        ACCEPTED[key].words if key in ACCEPTED else "gas" for key in cabin.not_given
    ]
    if "volume_m3" in cabin.not_given:
        return "The example's cabin, the Lapwing, with what you gave."
    if not names:
        return ""
    if most is not None and len(names) > most:
        left = len(names) - most
        more = "1 more figure" if left == 1 else f"{left} more figures"
        names = [*names[:most], f"and {more}"]
    return f"Not given, so as for the Lapwing, a trailer: {', '.join(names)}."


def _held_down(made: Plan) -> str:
    """Say that the cold may hold the flame down, and what is counted on."""
    if not made.flame.is_limited:
        return ""
    units = made.cabin.units
    least = units.number("kw", made.flame.least_kw, 1)
    most = units.given_said("kw", made.flame.most_kw)
    return (
        f"In this cold a cylinder outdoors supplies {least} of the heater's {most}; "
        "indoors, or brought in warm, all of it. So air, vents and water are for "
        f"{most}, warmth for {least}."
    )
