"""The plan on one screen: the verdict and the act first, then what they rest on."""

from collections.abc import Iterator

from cabinvigil.daemon.planning.heading import summary
from cabinvigil.daemon.planning.lines import (
    AT_ONCE_MIN,
    WIDTH,
    lasting,
    ranged,
    wrapped,
)
from cabinvigil.daemon.planning.night import PlannedNight, all_night, moments_asleep
from cabinvigil.daemon.planning.openings import O2_LIMIT_PCT
from cabinvigil.daemon.planning.plan import Plan
from cabinvigil.daemon.text.durations import minutes

ROW = 13
"""Columns of a row's name."""
SEE_ALL = (
    "An extra layer: keep certified alarms. If the heater's instructions or local "
    "codes say no, do not.  --all shows every figure."
)


TOLD_FROM_C = 2.0
"""A night that was colder before its end by less is told by its end (own choice)."""


def verdict(made: Plan) -> str:
    """Say in one line whether the vents are enough."""
    o2_pct, co2_ppm = made.air.o2_pct[1] or 0.0, made.air.co2_ppm[1] or 0.0
    co2 = made.cabin.units.said("ppm", co2_ppm, separator=" ")
    settled = f"oxygen {o2_pct:.1f} %, CO2 {co2}{_lit(made, made.cabin.burner_kw > 0)}"
    if made.vents.is_enough:
        return f"Enough vent, even at worst: {settled}."
    if made.vents.is_good:
        return f"Enough vent by the likeliest figures, not at worst: {settled}."
    if made.vents.is_hopeless:
        return f"Not safe, and no vent is enough: {settled}."
    return f"Not enough vent: {settled}."


def brief(made: Plan, change: tuple[str, ...]) -> str:
    """Return the plan on one screen, ready to print.

    Args:
        made: the plan.
        change: what to change tonight, what weighs most first.
    """
    first, *rest = change
    lines = [*_said_back(made), *wrapped(verdict(made), ""), *wrapped(first, ""), ""]
    lines += summary(made)
    lines += ["", *_rows(made)]
    if rest:
        lines += ["", *wrapped(f"Also: {' '.join(rest)}", "")]
    lines += ["", *wrapped(SEE_ALL, "")]
    return "\n".join(lines) + "\n"


def _said_back(made: Plan) -> list[str]:
    """Say first what bare numbers were taken for, where people are told other units."""
    bare = made.cabin.read_bare
    lines = [
        f"Read without a unit: {'; '.join(bare[:count])}"
        + (f"; and {len(bare) - count} more." if count < len(bare) else ".")
        for count in range(len(bare), 0, -1)
    ]
    return [line for line in lines if len(line) <= WIDTH][:1] or lines[-1:]


def _lit(made: Plan, is_lit: bool) -> str:
    """Say whether the heater is lit, in a night in which it is not always."""
    if not made.cabin.burner_kw or made.burns == all_night(made.cabin):
        return ""
    return ", heater lit" if is_lit else ", heater off"


def _rows(made: Plan) -> Iterator[str]:
    air, units = made.air, made.cabin.units
    lit = _lit(made, is_lit=True)
    when = "when the flame goes out" if air.stops else f"once settled{lit}"
    yield _row("oxygen", f"{ranged(air.o2_pct, 1, '%')} {when}")
    yield _row("CO2", ranged(air.co2_ppm, 0, "ppm", units) + lit)
    yield _row("inside", ranged(air.temp_c, 0, "c", units) + lit)
    yield _row("vents shut", _once_shut(made))
    have = made.cabin.vent_low_cm2 + made.cabin.vent_high_cm2
    low, needed, _ = made.vent.needed_cm2
    wanted = "no area is enough" if needed is None else f"needed {_area(made, needed)}"
    if low is None or needed is None:
        yield _row("vent area", f"{_area(made, have)} together; in still air {wanted}")
    else:
        yield _row("vent area", f"{_area(made, have)} together; {wanted} in still air")
    if made.cabin.burner_kw:
        kg, hours = units.said("kg", made.gas.kg, 2), made.gas.cylinder_hours
        yield _row(
            "gas", f"{kg} for the night; a cylinder lasts {ranged(hours, 0, 'h')}"
        )
    runs = made.wet.runs_from_min[1]
    wet = "no water runs" if runs is None else f"water runs after {minutes(runs)}"
    yield _row("windows", wet)
    yield _row("by morning", _by_morning(made))


def _once_shut(made: Plan) -> str:
    """Say how long the air lasts with every vent shut at midnight."""
    triple, state = made.shut.minutes_to_o2[O2_LIMIT_PCT], _lit(made, made.shut.lit)
    likeliest = triple[1]
    if likeliest is None:
        return f"19.5 % oxygen {lasting(triple)}{state}"
    if likeliest < AT_ONCE_MIN:
        return "oxygen is at 19.5 % or less before that"
    return f"19.5 % oxygen after {lasting(triple)}{state}"


def _by_morning(made: Plan) -> str:
    """Say how warm the night ends, and how cold it was before where that is colder."""
    units, night = made.cabin.units, made.coldest_nights[0]
    last = night.moments[-1]
    coldest = min(moments_asleep(made.cabin, night), key=lambda one: one.temp_c)
    ends = f"{units.said('c', last.temp_c)} inside{_lit(made, _was_lit(night))}"
    if night.flame_out_h is not None:
        return f"{units.said('c', last.temp_c)} inside, the flame out by then"
    if not _lit(made, is_lit=True) or last.temp_c - coldest.temp_c < TOLD_FROM_C:
        return ends
    cold = f"{units.said('c', coldest.temp_c)} before{_lit(made, coldest.burning)}"
    return f"{ends}; {cold}"


def _was_lit(night: PlannedNight) -> bool:
    """Return whether the heater burned up to the end: the last moment ends its time."""
    return any(moment.burning for moment in night.moments[-2:])


def _area(made: Plan, cm2: float) -> str:
    return made.cabin.units.said("cm2", cm2)


def _row(name: str, text: str) -> str:
    return f"{name:<{ROW}}{text}"
