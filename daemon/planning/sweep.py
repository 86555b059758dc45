"""The same plan over a range of one figure, as a table."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from cabinvigil.daemon.planning.figures import CabinPlan
from cabinvigil.daemon.planning.lines import AT_ONCE_MIN
from cabinvigil.daemon.planning.openings import CO2_LIMIT_PPM, O2_LIMIT_PCT
from cabinvigil.daemon.planning.plan import Plan, Range, plan
from cabinvigil.daemon.text.numbers import or_never
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.daemon.text.wrapping import wrap

VENT_TOTALS_CM2 = (0.0, 50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 900.0)
POWERS_KW = (0.0, 0.4, 0.8, 1.2, 1.6, 2.0, 3.0)
PEOPLE = (0.0, 1.0, 2.0, 3.0, 4.0, 6.0)
OUTSIDE_C = (-25.0, -20.0, -15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0)
HELD_DOWN = (
    "* the cold may weaken the heater: warmth is for what a cylinder outdoors\n  "
    "supplies, the rest for the heater's full power"
)
COLUMNS = 80
"""Of the verdict; the table takes what it needs."""
TITLES: Mapping[str, tuple[str, str, str]] = MappingProxyType(
    {
        "vent": ("both vents", "cm2", "with {} of both vents together"),
        "power": ("burner", "kw", "with a heater of {}"),
        "people": ("people", "", "with {} people"),
        "outside": ("outside", "c", "at {} outside"),
    }
)
"""What can be swept: its word on the command line, its column, its unit, and how the
verdict names its values."""


def cabins(cabin: CabinPlan, what: str) -> list[tuple[float, CabinPlan]]:
    """Return the cabins of a sweep, each with the value swept.

    `vent` is the total free area, parted as it is parted now (in halves where none is).
    """
    if what == "power":
        return [(kw, replace(cabin, burner_kw=kw)) for kw in POWERS_KW]
    if what == "people":
        most = cabin.volume_m3
        return [(n, replace(cabin, people=n)) for n in PEOPLE if n <= most]
    if what == "outside":
        return [(c, replace(cabin, outside_c=c)) for c in OUTSIDE_C]
    total = cabin.vent_low_cm2 + cabin.vent_high_cm2
    low = cabin.vent_low_cm2 / total if total else 0.5
    return [
        (area, replace(cabin, vent_low_cm2=low * area, vent_high_cm2=(1 - low) * area))
        for area in VENT_TOTALS_CM2
    ]


def sweep(cabin: CabinPlan, what: str) -> list[tuple[float, Plan]]:
    """Work out the plan for each value."""
    return [(at, plan(each)) for at, each in cabins(cabin, what)]


def _cell(triple: Range, decimals: int, unit: str = "", units: Units = SI) -> str:
    low, middle, high = (
        or_never(value) if value is None else units.number(unit, value, decimals)
        for value in triple
    )
    to = " to " if unit == "c" else "-"  # below zero a dash would be a sign
    return middle if low == high else f"{middle} ({low}{to}{high})"


def _verdict(what: str, rows: list[tuple[float, Plan]], units: Units) -> str:
    """Return where the vents are enough, by the rule of the plan itself."""
    _, swept, phrase = TITLES[what]
    co2 = units.said("ppm", CO2_LIMIT_PPM, separator=" ")
    likely = [units.given(swept, at) for at, made in rows if made.vents.is_good]
    sure = [units.given(swept, at) for at, made in rows if made.vents.is_enough]
    if not likely:
        return (
            f"Not enough vent in any row: oxygen falls below {O2_LIMIT_PCT:g} %, or "
            f"CO2 rises above {co2}."
        )
    values = f"{', '.join(likely)} {units.sign(swept)}".rstrip()
    worst = "all of these" if sure == likely else ", ".join(sure) or "none"
    return (
        f"Enough vent {phrase.format(values)} by the likeliest figures (oxygen at "
        f"least {O2_LIMIT_PCT:g} %, CO2 at most {co2}). Even at worst: {worst}."
    )


def _until_limit(made: Plan, units: Units) -> str:
    """Write the minutes until oxygen is at its limit once the vents are shut."""
    triple = made.shut.minutes_to_o2[O2_LIMIT_PCT]
    latest = triple[-1]
    if latest is not None and latest < AT_ONCE_MIN:
        return "below it before"
    return _cell(triple, 0, units=units)


def table(what: str, rows: list[tuple[float, Plan]], units: Units = SI) -> str:
    """Return the verdict and the table: likeliest figure, then least and most."""
    title, swept, _ = TITLES[what]
    heads = [
        f"{title} {units.sign(swept)}".strip(),
        "oxygen %",
        "CO2 ppm",
        f"inside {units.sign('c')}",
        "shut: min to 19.5 %",
        f"both needed {units.sign('cm2')}",
        f"gas {units.sign('kg')}",
    ]
    lines = [heads]
    for at, made in rows:
        lines.append(
            [
                units.given(swept, at),
                _cell(made.air.o2_pct, 1),
                _cell(made.air.co2_ppm, 0, "ppm", units),
                _cell(made.air.temp_c, 0, "c", units) + " *" * made.flame.is_limited,
                _until_limit(made, units),
                _cell(made.vent.needed_cm2, 0, "cm2", units),
                units.number("kg", made.gas.kg, 2),
            ]
        )
    widths = [max(len(line[i]) for line in lines) for i in range(len(heads))]
    told = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        for line in lines
    ]
    if any(made.flame.is_limited for _, made in rows):
        told.append(HELD_DOWN)
    lines_told = [*wrap(_verdict(what, rows, units), COLUMNS), *told]
    return "".join(f"{line.rstrip()}\n" for line in lines_told)
