"""The plan on one screen: the verdict and the act first, then what they rest on."""

from collections.abc import Iterator

from cabinvigil.daemon.planning.heading import summary
from cabinvigil.daemon.planning.lines import ranged, wrapped
from cabinvigil.daemon.planning.plan import Plan
from cabinvigil.daemon.text.numbers import grouped, or_never

ROW = 13
"""Columns of a row's name."""
SEE_ALL = (
    "An extra layer: keep certified alarms. If the heater's instructions or local "
    "codes say no, do not.  --all shows every figure."
)


def verdict(made: Plan) -> str:
    """Say in one line whether the vents are enough."""
    o2_pct, co2_ppm = made.air.o2_pct[1] or 0.0, made.air.co2_ppm[1] or 0.0
    settled = f"oxygen {o2_pct:.1f} %, CO2 {grouped(co2_ppm)} ppm"
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
    lines = [verdict(made), *wrapped(first, ""), ""]
    lines += summary(made)
    lines += ["", *_rows(made)]
    if rest:
        lines += ["", *wrapped(f"Also: {' '.join(rest)}", "")]
    lines += ["", *wrapped(SEE_ALL, "")]
    return "\n".join(lines) + "\n"


def _rows(made: Plan) -> Iterator[str]:
    air, units = made.air, made.cabin.units
    yield _row("oxygen", ranged(air.o2_pct, 1, "%") + " once settled")
    yield _row("CO2", ranged(air.co2_ppm, 0, "ppm"))
    yield _row("inside", ranged(air.temp_c, 0, "c", units))
    shut = made.shut.minutes_to_o2[19.5]
    yield _row("vents shut", f"19.5 % oxygen after {ranged(shut, 0, 'min')}")
    have = made.cabin.vent_low_cm2 + made.cabin.vent_high_cm2
    low, needed, _ = made.vent.needed_cm2
    wanted = "no area is enough" if needed is None else f"needed {_area(made, needed)}"
    if low is None or needed is None:
        yield _row("vent area", f"{_area(made, have)}; in still air {wanted}")
    else:
        yield _row("vent area", f"{_area(made, have)}; {wanted} in still air")
    if made.cabin.burner_kw:
        kg, hours = units.said("kg", made.gas.kg, 2), made.gas.cylinder_hours
        yield _row(
            "gas", f"{kg} for the night; a cylinder lasts {ranged(hours, 0, 'h')}"
        )
    runs = made.wet.runs_from_min[1]
    wet = "no water runs" if runs is None else f"water runs after {or_never(runs)} min"
    yield _row("windows", wet)
    asleep = made.coldest_nights[0].moments[-1].temp_c
    yield _row("by morning", f"{units.said('c', asleep)} inside")


def _area(made: Plan, cm2: float) -> str:
    return made.cabin.units.said("cm2", cm2)


def _row(name: str, text: str) -> str:
    return f"{name:<{ROW}}{text}"
