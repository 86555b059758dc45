"""What a log's start record tells of the cabin, taken as it is found.

A log may come from software of another version: a key that is missing or odd counts as
unknown, and is no mistake.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.air.atmosphere import pressure_hpa
from cabinvigil.daemon.air.combustion import FUELS, PROPANE, Fuel, mix
from cabinvigil.daemon.air.cylinder import PURE_PROPANE
from cabinvigil.daemon.air.figures import (
    ALTITUDE_M,
    FRESH_CO2_PPM,
    LIKELY_WIND_MPS,
    OUTSIDE_RH_PCT,
    VENT_HEIGHT_M,
)
from cabinvigil.daemon.text.units_said import SI, Units, units_named
from cabinvigil.drivers import REGISTRY, part

USUAL_LAG_S = 60.0
"""Of a CO2 part whose kind is not known (SCD4x, sensors.md 1)."""


@dataclass(frozen=True, slots=True)
class CabinFacts:
    """The cabin; None is unknown."""

    name: str = "cabin"
    volume_m3: float | None = None
    people: float | None = None
    children: float | None = None
    pregnant: float | None = None
    altitude_m: float = ALTITUDE_M
    vent_low_cm2: float | None = None
    vent_high_cm2: float | None = None
    vent_height_m: float = VENT_HEIGHT_M
    leak_per_h: float | None = None
    burner_kw: float | None = None
    burner_low_kw: float | None = None
    cylinder_kg: float | None = None
    glass_u_w_m2k: float | None = None
    wall_w_k: float | None = None
    outside_c: float | None = None
    outside_rh_pct: float = OUTSIDE_RH_PCT
    wind_mps: float = LIKELY_WIND_MPS
    outdoor_co2_ppm: float = FRESH_CO2_PPM
    fuel: Fuel = field(default=PROPANE)
    liquid: Mapping[str, float] = field(default_factory=lambda: PURE_PROPANE)
    """Shares of the gases in the cylinder, by moles."""
    co2_lag_s: float = USUAL_LAG_S
    units: Units = SI
    """In which people are told of the night."""

    @property
    def vents_said(self) -> str:
        """Its vents, in words; '' where it has none.  What is not known is there."""
        count = sum(one != 0.0 for one in (self.vent_low_cm2, self.vent_high_cm2))
        return ("", "the vent", "both vents")[count]

    @property
    def pressure_hpa(self) -> float:
        """The usual pressure at its height."""
        return pressure_hpa(self.altitude_m)


@dataclass(frozen=True, slots=True)
class Limit:
    """One step of one alarm's limits."""

    alarm: str
    quantity: str
    side: str
    """`below` or `above`."""
    at: float
    priority: str
    over_s: float = 0.0
    """As the mean of this long; 0: at once."""


def cabin_facts(config: Mapping[str, Any]) -> CabinFacts:
    """Read the facts of a start record's config."""
    cabin = config.get("cabin")
    told: dict[str, Any] = {}
    if isinstance(cabin, Mapping):
        for key in CabinFacts.__dataclass_fields__:
            number = _number(cabin.get(key))
            if number is not None:
                told[key] = number
        name = cabin.get("name")
        if isinstance(name, str) and name.isprintable() and len(name) <= 40:
            told["name"] = name
        told.update(_fuel(cabin.get("fuel")))
        told["units"] = units_named(cabin.get("units"))
    if not 0.5 <= told.get("volume_m3", 0.0) <= 1000.0:
        told.pop("volume_m3", None)
    if not -500.0 <= told.get("altitude_m", 0.0) <= 8000.0:
        told.pop("altitude_m", None)
    for key in ("wall_w_k", "glass_u_w_m2k"):
        if told.get(key, 1.0) <= 0.0:
            del told[key]
    told["co2_lag_s"] = _lag_s(config.get("part"))
    return CabinFacts(**told)


def _number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) and abs(number) < 1e6 else None


def _fuel(shares: Any) -> dict[str, Any]:
    """Make the fuel of shares by mass."""
    if not isinstance(shares, Mapping):
        return {}
    known = {name: _number(share) for name, share in shares.items() if name in FUELS}
    masses = {name: share for name, share in known.items() if share and share > 0.0}
    if not masses or len(masses) != len(shares):
        return {}
    moles = {name: share / FUELS[name].kg_mol for name, share in masses.items()}
    total = math.fsum(moles.values())
    liquid = {name: share / total for name, share in moles.items()}
    return {"fuel": mix(masses, by="mass"), "liquid": liquid}


def _lag_s(parts: Any) -> float:
    """Find the lag of the part that tells CO2 at the bunk."""
    if not isinstance(parts, Mapping):
        return USUAL_LAG_S
    for one in parts.values():
        kind = one.get("kind") if isinstance(one, Mapping) else None
        if isinstance(kind, str) and kind in REGISTRY and not one.get("place"):
            gives = part(kind).gives.get("co2_ppm")
            if gives is not None:
                return gives.lag_s or USUAL_LAG_S
    return USUAL_LAG_S


def parts_of(config: Mapping[str, Any]) -> dict[str, list[str]]:
    """List, by quantity, the parts that give it where people breathe."""
    parts = config.get("part")
    found: dict[str, list[str]] = {}
    for name, one in parts.items() if isinstance(parts, Mapping) else ():
        kind = one.get("kind") if isinstance(one, Mapping) else None
        if isinstance(kind, str) and kind in REGISTRY:
            for quantity in part(kind).gives:
                found.setdefault(quantity, []).append(str(name))
    return found


def limits_of(config: Mapping[str, Any]) -> list[Limit]:
    """List every step of every level alarm."""
    alarms = config.get("alarm")
    if not isinstance(alarms, Mapping):
        return []
    found: list[Limit] = []
    for name, alarm in alarms.items():
        if not isinstance(alarm, Mapping) or alarm.get("kind") not in ("level", "dose"):
            continue
        quantity = alarm.get("quantity", "cohb_pct")
        side = alarm.get("side", "above")
        steps = alarm.get("steps")
        if isinstance(steps, Sequence) and isinstance(quantity, str):
            made = (_limit(str(name), quantity, side, step) for step in steps)
            found += [one for one in made if one is not None]
    return found


def _limit(alarm: str, quantity: str, side: Any, step: Any) -> Limit | None:
    if not isinstance(step, Mapping) or side not in ("below", "above"):
        return None
    if "share_pct" in step and step["share_pct"] != 100.0:
        return None  # it asks for more than the value, so that no margin tells it
    at, over_s = _number(step.get("at")), _number(step.get("over_s", 0.0))
    if at is None or over_s is None:
        return None
    return Limit(alarm, quantity, side, at, str(step.get("priority", "low")), over_s)
