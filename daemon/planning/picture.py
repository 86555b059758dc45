"""The night as a picture: oxygen, carbon dioxide and dew point, vents open and shut."""

import math
from pathlib import Path
from typing import Any

from cabinvigil.daemon.planning.night import PlannedNight, night
from cabinvigil.daemon.planning.plan import Plan
from cabinvigil.daemon.planning.scenario import scenarios
from cabinvigil.daemon.planning.settle import SHUT
from cabinvigil.daemon.text.moments import hour_of_day
from cabinvigil.daemon.text.svg import blank, save
from cabinvigil.daemon.text.units import unit_of
from cabinvigil.daemon.text.units_said import Units

ROWS = (
    ("o2_pct", "oxygen", "%", 19.5),
    ("co2_ppm", "carbon dioxide", "ppm", 5000.0),
    ("dew_point_c", "dew point", "c", None),
)


def draw(made: Plan, path: Path) -> None:
    """Draw the night with the vents as they are beside the night with them shut.

    Raises:
        DrawingError: matplotlib is not installed, or the file cannot be written.
    """
    figure = blank((10.0, 8.0))
    axes = figure.subplots(len(ROWS), 2, sharex=True, sharey="row", squeeze=False)
    units = made.cabin.units
    shut = [night(way, made.burns, SHUT) for way in scenarios(made.cabin)]
    columns = (
        (made.nights, "vents as they are"),
        (tuple(shut), "vents shut all night"),
    )
    if made.flame.is_limited:
        most = units.given_said("kw", made.flame.most_kw)
        least = units.number("kw", made.flame.least_kw, 1)
        figure.suptitle(f"lines: {most}; in this cold perhaps only {least}")
    for column, (nights, title) in enumerate(columns):
        axes[0][column].set_title(title)
        for row, (what, label, unit, limit) in enumerate(ROWS):
            _panel(axes[row][column], nights, what, limit, units)
            if column == 0:
                axes[row][column].set_ylabel(f"{label}, {units.sign(unit)}")
        hours = range(math.ceil(nights[0].moments[0].hour), 25, 2)
        last_h = nights[0].moments[-1].hour
        axes[-1][column].set_xticks(
            [hour for hour in hours if hour <= last_h],
            [hour_of_day(hour) for hour in hours if hour <= last_h],
        )
    axes[-1][0].legend(loc="best", fontsize="small")
    save(figure, path)


def _panel(
    axis: Any,
    nights: tuple[PlannedNight, ...],
    what: str,
    limit: float | None,
    units: Units,
) -> None:
    hours = [moment.hour for moment in nights[0].moments]
    unit = unit_of(what)[1]
    ways = [
        [units.value(unit, getattr(moment, what)) for moment in way.moments]
        for way in nights
    ]
    low = [min(values) for values in zip(*ways, strict=True)]
    high = [max(values) for values in zip(*ways, strict=True)]
    axis.fill_between(hours, low, high, alpha=0.25, linewidth=0)
    axis.plot(hours, ways[0], label="likeliest")
    if what == "dew_point_c":
        glass = [units.value("c", moment.glass_c) for moment in nights[0].moments]
        axis.plot(hours, glass, linestyle="--", label="window, inside")
    if limit is not None:
        axis.axhline(limit, color="black", linewidth=0.8, linestyle=":")
