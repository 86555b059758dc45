"""The same plan over a range of one figure, as a table."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from cabinvigil.daemon.planning.figures import CabinPlan
from cabinvigil.daemon.planning.plan import Plan, Range, plan
from cabinvigil.daemon.text.numbers import or_never

VENT_TOTALS_CM2 = (0.0, 50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 900.0)
POWERS_KW = (0.0, 0.4, 0.8, 1.2, 1.6, 2.0, 3.0)
PEOPLE = (0.0, 1.0, 2.0, 3.0, 4.0, 6.0)
OUTSIDE_C = (-25.0, -20.0, -15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0)
HELD_DOWN = (
    "* the cold may hold the flame down: warmth is told for what a cylinder outdoors\n"
    "  feeds, all else for the burner's own"
)
TITLES: Mapping[str, str] = MappingProxyType(
    {
        "vent": "vent cm2",
        "power": "burner kW",
        "people": "people",
        "outside": "outside C",
    }
)
"""What can be swept: its word on the command line, and its column."""


def cabins(cabin: CabinPlan, what: str) -> list[tuple[float, CabinPlan]]:
    """Give the cabins of a sweep, each with the value swept.

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


def _cell(triple: Range, decimals: int, to: str = "-") -> str:
    low, middle, high = (or_never(value, decimals, "") for value in triple)
    return middle if low == high else f"{middle} ({low}{to}{high})"


def table(what: str, rows: list[tuple[float, Plan]]) -> str:
    """Give the table as text: likeliest figure, then least and most."""
    heads = [
        TITLES[what],
        "oxygen %",
        "CO2 ppm",
        "inside C",
        "shut: min to 19.5 %",
        "vent needed cm2",
        "gas kg",
    ]
    lines = [heads]
    for at, made in rows:
        lines.append(
            [
                f"{at:g}",
                _cell(made.air.o2_pct, 1),
                _cell(made.air.co2_ppm, 0),
                _cell(made.air.temp_c, 0, " to ") + " *" * made.flame.is_limited,
                _cell(made.shut.minutes_to_o2[19.5], 0),
                _cell(made.vent.needed_cm2, 0),
                f"{made.gas.kg:.2f}",
            ]
        )
    widths = [max(len(line[i]) for line in lines) for i in range(len(heads))]
    told = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        for line in lines
    ]
    if any(made.flame.is_limited for _, made in rows):
        told.append(HELD_DOWN)
    return "".join(f"{line.rstrip()}\n" for line in told)
