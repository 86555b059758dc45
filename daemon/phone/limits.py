"""The limits that the page draws: the packaged ones, since a cabin's own are not sent.

A cabin whose config is stricter or less strict sounds by its own; the page says `usual
limit`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from cabinvigil.daemon.settings.read import parse_toml


@dataclass(frozen=True, slots=True)
class UsualLimit:
    """The first step of a level alarm that orders people to act."""

    at: float
    side: str
    """`below` or `above`."""
    fresh: float
    """The value in fresh air."""


FRESH: Mapping[str, float] = {
    # As air/figures.py and air/atmosphere.py have them: humid air outdoors.
    "o2_pct": 20.9,
    "co2_ppm": FRESH_CO2_PPM,
    "co_ppm": 0.0,
    "gas_lel_pct": 0.0,
}


def usual_limits() -> dict[str, UsualLimit]:
    """Read the packaged limits file; by quantity."""
    data = files("cabinvigil.config").joinpath("limits.toml").read_bytes()
    tables: Mapping[str, Any] = parse_toml(data, "packaged limits.toml")["alarm"]
    found = {}
    for table in tables.values():
        quantity = table.get("quantity")
        is_wanted = table["kind"] == "level" and quantity in FRESH
        if not is_wanted or quantity in found:
            continue
        at_once = [step for step in table["steps"] if "over_s" not in step]
        first = at_once[0]
        found[quantity] = UsualLimit(first["at"], table["side"], FRESH[quantity])
    return found
