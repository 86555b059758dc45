"""All outside checks, and their table."""

from itertools import chain

from tests.air.outside.airflow import (
    one_opening,
    through_doors_and_windows,
    two_openings,
)
from tests.air.outside.bodies import carbon_monoxide, more_people, people, washout
from tests.air.outside.check import Check
from tests.air.outside.fuels import boiling_off, burning, liquids
from tests.air.outside.rooms import decays, flows, more_rooms, rooms, sealed
from tests.air.outside.vapour import air_outside, heats, panes, vapour

GROUPS = (
    burning,
    liquids,
    boiling_off,
    vapour,
    heats,
    panes,
    air_outside,
    people,
    more_people,
    carbon_monoxide,
    washout,
    flows,
    one_opening,
    two_openings,
    through_doors_and_windows,
    rooms,
    more_rooms,
    sealed,
    decays,
)


def every_check() -> list[Check]:
    return list(chain.from_iterable(group() for group in GROUPS))


def _mark(check: Check) -> str:
    if check.holds:
        return ""
    return f"  {check.miss}, the safe side" if check.miss else "  MISSED"


def table(checks: list[Check]) -> str:
    heads = ("quantity", "source", "published", "ours", "difference", "tolerance")
    lines = [heads] + [
        (
            check.quantity,
            check.source,
            f"{check.published:.5g}",
            f"{check.ours:.5g}",
            f"{check.difference:+.3g}",
            f"{check.tolerance:.3g}" + _mark(check),
        )
        for check in checks
    ]
    widths = [max(len(line[i]) for line in lines) for i in range(len(heads))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        for line in lines
    )
