"""All outside checks, and their table."""

from itertools import chain

from tests.air.outside.bodies import carbon_monoxide, people
from tests.air.outside.check import Check
from tests.air.outside.fuels import burning, liquids
from tests.air.outside.rooms import decays, flows, rooms, sealed
from tests.air.outside.vapour import air_outside, vapour


def every_check() -> list[Check]:
    return list(
        chain(
            burning(),
            liquids(),
            vapour(),
            air_outside(),
            people(),
            carbon_monoxide(),
            flows(),
            rooms(),
            sealed(),
            decays(),
        )
    )


def table(checks: list[Check]) -> str:
    heads = ("quantity", "source", "published", "ours", "difference", "tolerance")
    lines = [heads] + [
        (
            check.quantity,
            check.source,
            f"{check.published:.5g}",
            f"{check.ours:.5g}",
            f"{check.difference:+.3g}",
            f"{check.tolerance:.3g}" + ("" if check.holds else "  MISSED"),
        )
        for check in checks
    ]
    widths = [max(len(line[i]) for line in lines) for i in range(len(heads))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        for line in lines
    )
