"""What a fresh-air span makes of what the parts gave: the air, and each part's figures.

Pure.  A span takes the air of this moment for known: so it is refused unless the air
is fresh and steady, as far as the other parts can tell.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT
from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from cabinvigil.daemon.air.moisture import vapour_hpa
from cabinvigil.daemon.text.units import difference
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers.kit.air_span import FRESH_AIR_O2_PCT

YES = "outside air, doors open, burner off"
"""What a person types; the three things that no sensor can vouch for."""

CO2_ALLOWED = (50.0, 0.05, 80.0)
"""CO2 may read above outdoors by the widest class, 50 ppm and 5 % of the reading
(sensors sheet, 1), and 80 ppm for those who stand in the door (our choice)."""
CO2_MOVED_PPM = 500.0
"""So far a baseline may have been dragged (our choice for the maker's 'some hundred
ppm'); more is stale air, whatever else is said."""
O2_APART_PCT = 0.8
"""Oxygen that is not set here may be off by two accuracies (rule `disagree`)."""
CO_MOST_PPM = 10.0
"""More is gas, not a zero that has moved (as the CO module's own limit)."""
GAS_MOST_LEL_PCT = 2.0
"""Fresh air has none; a gas part's zero may be off by this (our choice)."""
CO2_STEADY_PPM = 60.0
TEMP_STEADY_C = 1.5
PRESSURE_STEADY_HPA = 1.0
"""Most change from the first third of a look to the last, of three to five minutes.
Own choices: 60 ppm is the class of the part; 1.5 K moves a cell of 0.05 % a kelvin by
less than 0.02 % oxygen; 1 hPa is 0.02 % oxygen."""


@dataclass(frozen=True, slots=True)
class Given:
    """What one part gave of one quantity over the look."""

    part: str
    values: Sequence[float]
    """In the order in which they came."""

    @property
    def mean(self) -> float:
        """Return the mean."""
        return fmean(self.values)

    @property
    def moved(self) -> float:
        """Return how far the last third lies above the first."""
        third = max(1, len(self.values) // 3)
        return fmean(self.values[-third:]) - fmean(self.values[:third])


@dataclass(frozen=True, slots=True)
class Saw:
    """One thing that the parts say of the air."""

    is_good: bool | None
    """None: nobody can tell."""
    text: str


@dataclass(frozen=True, slots=True)
class AirFound:
    """The air at the span, as the parts gave it; None is not known."""

    temp_c: float | None = None
    rh_pct: float | None = None
    pressure_hpa: float | None = None
    is_pressure_measured: bool = True
    """False: it is the standard one of the cabin's height, good enough for vapour."""

    @property
    def measured_hpa(self) -> float | None:
        """Return the pressure that a part gave; what was not measured is not kept."""
        return self.pressure_hpa if self.is_pressure_measured else None

    @property
    def o2_pct(self) -> float:
        """Return oxygen in fresh air of this vapour, as breathed.

        20.95 % of dry air (ISO 2533 and check values), less what vapour displaces;
        20.9 where the vapour is not known.
        """
        if self.temp_c is None or self.rh_pct is None or self.pressure_hpa is None:
            return FRESH_AIR_O2_PCT
        rh_pct = min(max(self.rh_pct, 0.0), 100.0)
        wet = vapour_hpa(self.temp_c, rh_pct) / self.pressure_hpa
        return O2_DRY_PCT * (1.0 - wet)


Gave = Mapping[str, Sequence[Given]]
"""By quantity: what each part where people breathe gave."""


def air_of(gave: Gave, standard_hpa: float | None) -> AirFound:
    """Return the air, by the first part of each quantity.

    Args:
        gave: what the parts gave.
        standard_hpa: the pressure of the cabin's height, where no part tells it.
    """

    def first(quantity: str) -> float | None:
        found = gave.get(quantity, ())
        return found[0].mean if found else None

    pressure_hpa = first("pressure_hpa")
    return AirFound(
        first("temp_c"),
        first("rh_pct"),
        standard_hpa if pressure_hpa is None else pressure_hpa,
        is_pressure_measured=pressure_hpa is not None,
    )


def look_at(
    gave: Gave,
    spanning: frozenset[str],
    air: AirFound,
    outdoor_ppm: float | None,
    units: Units = SI,
) -> list[Saw]:
    """Say of each gas whether the air is fresh, and of the rest whether it is steady.

    Args:
        gave: what the parts gave.
        spanning: the parts that are to be set by this air.
        air: the air itself.
        outdoor_ppm: CO2 outdoors.
        units: in which people are told.
    """
    outdoor_ppm = FRESH_CO2_PPM if outdoor_ppm is None else outdoor_ppm
    co2_parts = {given.part for given in gave.get("co2_ppm", ())}
    saw = []
    for given in gave.get("co2_ppm", ()):
        # A part whose own baseline is to be moved may read wrong by some hundred ppm;
        # while it vouches for other parts' air it may not.
        may_be_wrong = spanning <= co2_parts and given.part in spanning
        saw.append(_carbon_dioxide(given, outdoor_ppm, may_be_wrong=may_be_wrong))
        saw.append(_steady(given, CO2_STEADY_PPM, "carbon dioxide", "ppm", units))
    if not co2_parts:
        text = (
            "nothing measures carbon dioxide: make sure yourself that the air is fresh"
        )
        saw.append(Saw(None, text))
    saw += _oxygen(gave, spanning, air)
    for quantity, most, words, unit in (
        ("co_ppm", CO_MOST_PPM, "carbon monoxide", "ppm"),
        ("gas_lel_pct", GAS_MOST_LEL_PCT, "unburnt gas", "% LEL"),
    ):
        for given in gave.get(quantity, ()):
            text = f"{given.part}: {words} {given.mean:.1f} {unit}"
            limit = f" (fresh: at most {most:g})"
            saw.append(Saw(abs(given.mean) <= most, text + limit))
    for quantity, most, words, unit in (
        ("temp_c", TEMP_STEADY_C, "temperature", "c"),
        ("pressure_hpa", PRESSURE_STEADY_HPA, "air pressure", "hpa"),
    ):
        for given in gave.get(quantity, ()):
            saw.append(_steady(given, most, words, unit, units))
    return saw


def _carbon_dioxide(given: Given, outdoor_ppm: float, *, may_be_wrong: bool) -> Saw:
    fixed, share, people = CO2_ALLOWED
    most = outdoor_ppm + fixed + share * outdoor_ppm + people
    if may_be_wrong:
        most += CO2_MOVED_PPM
    text = f"{given.part}: carbon dioxide {given.mean:.0f} ppm"
    return Saw(given.mean <= most, f"{text} (fresh: at most {most:.0f})")


def _oxygen(gave: Gave, spanning: frozenset[str], air: AirFound) -> list[Saw]:
    """Compare oxygen parts that are not set by this air with what it must hold."""
    saw = []
    for given in gave.get("o2_pct", ()):
        if given.part not in spanning:
            off = given.mean - air.o2_pct
            text = f"{given.part}: oxygen {given.mean:.2f} %"
            limit = f" (fresh: {air.o2_pct:.2f}, within {O2_APART_PCT:g})"
            saw.append(Saw(abs(off) <= O2_APART_PCT, text + limit))
    return saw


def _steady(given: Given, most: float, words: str, unit: str, units: Units) -> Saw:
    moved = units.number(difference(unit), abs(given.moved), 1)
    text = f"{given.part}: {words} {units.said(unit, given.mean, 1)}, moved {moved}"
    limit = units.given(difference(unit), most)
    return Saw(abs(given.moved) <= most, f"{text} (steady: at most {limit})")


def is_fresh(saw: Sequence[Saw]) -> bool:
    """Return whether nothing that was seen speaks against a span."""
    return all(one.is_good is not False for one in saw)


def is_yes(text: str) -> bool:
    """Return whether a person typed the sentence, however it was spelled and spaced."""

    def words(line: str) -> list[str]:
        plain = "".join(one if one.isalnum() else " " for one in line.casefold())
        return plain.split()

    return words(text) == words(YES)
