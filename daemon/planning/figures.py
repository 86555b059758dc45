"""What a plan is made from: the cabin's figures, each with what it can be.

The defaults are the example's, the trailer *Lapwing* (`air/figures.py`).  Where another
volume is given, walls and leak are estimated, and the account says that they are.
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any, NamedTuple

from cabinvigil.daemon.air.combustion import FUELS, Fuel, mix
from cabinvigil.daemon.air.figures import (
    ALTITUDE_M,
    EXAMPLE,
    stated_of_shell,
    wall_loss_w_k,
)
from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.units import convert, unit_of_key
from cabinvigil.daemon.text.units_read import Typed, UnitError, said_back, typed
from cabinvigil.daemon.text.units_said import SI, US, Units

AS_DECLARED = MappingProxyType({"propane": 1.0})


class BurnWindow(NamedTuple):
    """A time of the night in which the burner is lit, in hours from noon."""

    from_h: float
    to_h: float


@dataclass(frozen=True, slots=True)
class CabinPlan:
    """The cabin, the night and what burns in it."""

    volume_m3: float = EXAMPLE.volume_m3
    burner_kw: float = EXAMPLE.burner_kw
    """Gas used at the setting to plan for, on the higher heating value."""
    burner_height_m: float | None = EXAMPLE.burner_height_m
    """Of the flame above the floor; None: nobody says."""
    people: float = EXAMPLE.people
    berths: float | None = None
    """Places to sleep, which rules count; None: as many as sleep tonight."""
    vent_low_cm2: float = EXAMPLE.vent_low_cm2
    vent_high_cm2: float = EXAMPLE.vent_high_cm2
    vent_height_m: float = EXAMPLE.vent_height_m
    """Between the middles of the two openings."""
    outside_c: float = EXAMPLE.outside_c
    outside_rh_pct: float = EXAMPLE.outside_rh_pct
    wind_mps: float = EXAMPLE.wind_mps
    altitude_m: float = EXAMPLE.altitude_m
    glass_u: float = EXAMPLE.glass_u_w_m2k
    """U-value of the coldest pane, W/(m2 K)."""
    cylinder_kg: float = EXAMPLE.cylinder_kg
    hours: float = 9.0
    """From going to bed to getting up."""
    leak_per_h: float | None = EXAMPLE.leak_per_h
    """Air changes with every vent shut; None: the usual range."""
    wall_w_k: float | None = EXAMPLE.wall_w_k
    """Heat that all walls and panes pass; None: estimated from the volume."""
    outdoor_co2_ppm: float = EXAMPLE.outdoor_co2_ppm
    fuel: Mapping[str, float] = field(default_factory=lambda: AS_DECLARED)
    """Shares by mass in the cylinder."""
    burns: tuple[BurnWindow, ...] = ()
    """When the burner is lit; empty: all night."""
    units: Units = field(default=SI, compare=False)
    """In which people are told what comes of it."""
    read_as: tuple[str, ...] = field(default=(), compare=False)
    """What the figures that were typed with a unit are in ours."""
    read_bare: tuple[str, ...] = field(default=(), compare=False)
    """What those typed without one are in the units that people are told."""

    not_given: tuple[str, ...] = field(default=(), compare=False)
    """Figures that nobody gave, so that the example's stand in."""

    @property
    def places(self) -> float:
        """Places to sleep: no fewer than who sleeps there."""
        return max(self.people, self.berths or 0.0)

    @property
    def loss_w_k(self) -> float:
        """Heat that walls and panes pass."""
        return wall_loss_w_k(self.volume_m3, self.wall_w_k, self.glass_u)

    @property
    def gas(self) -> Fuel:
        """The gas as it burns."""
        return mix(self.fuel, by="mass")

    @property
    def liquid(self) -> Mapping[str, float]:
        """Mole shares of the liquid in the cylinder."""
        moles = {name: share / FUELS[name].kg_mol for name, share in self.fuel.items()}
        total = math.fsum(moles.values())
        return {name: part / total for name, part in moles.items() if part > 0}


class Accepted(NamedTuple):
    """What a figure can be, and in which words to ask for it."""

    low: float
    high: float
    unit: str
    words: str


# Ranges are what a sleeping space and the weather can be; beyond them stands a typing
# error far more often than a cabin.
ACCEPTED: Mapping[str, Accepted] = MappingProxyType(
    {
        "volume_m3": Accepted(1.0, 500.0, "m³", "air volume of the cabin"),
        "burner_kw": Accepted(0.0, 30.0, "kW", "heater input as on its label (gross)"),
        "burner_height_m": Accepted(0.0, 3.0, "m", "height of the flame"),
        "people": Accepted(0.0, 20.0, "people", "sleepers"),
        "berths": Accepted(0.0, 20.0, "berths", "places to sleep"),
        "vent_low_cm2": Accepted(0.0, 20_000.0, "cm²", "free area near the floor"),
        "vent_high_cm2": Accepted(0.0, 20_000.0, "cm²", "free area near the roof"),
        "vent_height_m": Accepted(0.1, 6.0, "m", "height between the two vents"),
        "outside_c": Accepted(-60.0, 45.0, "°C", "outside temperature"),
        "outside_rh_pct": Accepted(1.0, 100.0, "%", "relative humidity outside"),
        "wind_mps": Accepted(0.0, 30.0, "m/s", "wind at the cabin"),
        "altitude_m": Accepted(-430.0, 5500.0, "m", "altitude"),
        "glass_u": Accepted(0.2, 10.0, "W/(m² K)", "U-value of the coldest window"),
        "cylinder_kg": Accepted(0.05, 100.0, "kg", "gas in a full cylinder"),
        "hours": Accepted(0.5, 14.0, "h", "from going to bed to getting up"),
        "leak_per_h": Accepted(0.0, 50.0, "per h", "air changes with all vents shut"),
        "wall_w_k": Accepted(1.0, 1000.0, "W/K", "heat through walls and windows"),
        "outdoor_co2_ppm": Accepted(300.0, 2000.0, "ppm", "carbon dioxide outdoors"),
    }
)
NOT_LENT = frozenset({"hours", "outdoor_co2_ppm", "berths"})
"""Two are nobody's own, and berths that nobody states are those slept in."""
OF_THE_EXAMPLE = tuple(key for key in (*ACCEPTED, "fuel") if key not in NOT_LENT)
"""What says which cabin and night it is."""
FROM_CONFIG: Mapping[str, str] = MappingProxyType({"glass_u_w_m2k": "glass_u"})
"""Keys of the config's [cabin] that are spelled otherwise here."""
UNITS_OF: Mapping[str, str] = MappingProxyType({"glass_u": "w_m2k", "hours": "h"})
"""Of the figures whose names do not end with one."""
M3_A_SLEEPER = 1.0
"""A lying person, a bunk and the air above it (common practice, no source)."""


class PlanError(CabinvigilError, ValueError):
    """The figures cannot be; one sentence for each that is wrong."""

    def __init__(self, sentences: list[str]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences

    def report(self) -> str:
        """Return a line for each figure that is wrong, and who says so."""
        return "\n".join(f"cabinvigil plan: {line}" for line in self.sentences)


def from_config(cabin: object) -> dict[str, object]:
    """Take the figures that a config's [cabin] gives: a mapping or a settings value.

    Its height above the sea is taken as the morning takes it where it gives none.
    """
    names = {one.name for one in fields(CabinPlan)}
    names -= {"burns", "hours", "units", "read_as", "read_bare", "not_given"}
    given: dict[str, object] = {"altitude_m": ALTITUDE_M}
    for key in [*names, *FROM_CONFIG]:
        value = (
            cabin.get(key) if isinstance(cabin, Mapping) else getattr(cabin, key, None)
        )
        if value is not None:
            given[FROM_CONFIG.get(key, key)] = value
    return given


def option_name(key: str) -> str:
    """Format a figure as its option."""
    return "--" + key.replace("_", "-")


def unit_of_figure(key: str) -> str:
    """Return the unit of one figure, as the table of units calls it."""
    return UNITS_OF.get(key) or unit_of_key(key)


def asked_in(key: str, units: Units) -> str:
    """Return the unit in which a figure is asked for, as people read it."""
    unit = unit_of_figure(key)
    return ACCEPTED[key].unit if units.unit(unit) == unit else units.sign(unit)


def number(key: str, value: object, name: str, units: Units = SI) -> float:
    """Read one figure, bare or with its unit.

    Args:
        key: its name.
        value: what was typed, or a number.
        name: what to call it in a sentence.
        units: in which its bounds are told.

    Raises:
        PlanError: it is no number, or cannot be.
    """
    accepted, unit = ACCEPTED[key], unit_of_figure(key)
    low, high = (units.given(unit, one) for one in (accepted.low, accepted.high))
    told = asked_in(key, units)
    asks = f"give {accepted.words} as a number from {low} to {high} ({told})"
    try:
        read = typed(str(value), unit)
    except UnitError as error:
        mend = error.mend if error.is_doubt else asks
        raise PlanError([f"{name} {error.what}; {mend}."]) from None
    if read is None or (read.is_bare and "," in str(value)):
        raise PlanError([f"{name} {str(value)[:40]!r} is not a number: {asks}."])
    figure = read.value
    if not math.isfinite(figure) or not accepted.low <= figure <= accepted.high:
        typed_as = str(value)[:40]
        taken, meant = _otherwise_meant(read, accepted, unit, units)
        raise PlanError([f"{name} {typed_as}{taken} cannot be: {asks}{meant}."])
    return figure


def _otherwise_meant(
    read: Typed, accepted: Accepted, unit: str, units: Units
) -> tuple[str, str]:
    """Say of a bare number in which unit it was read, and which was perhaps meant."""
    if not read.is_bare or not math.isfinite(read.number):
        return "", ""
    taken = f" was read as {read.number:g} {accepted.unit}, which"
    meant = ""
    other = US.unit(unit)
    inside = None if other == unit else convert(read.number, other, unit)
    if inside is not None and accepted.low <= inside <= accepted.high:
        meant = f'; write "{read.number:g} {US.sign(unit)}" if that was meant'
    return taken if units.unit(unit) != unit or meant else "", meant


def cabin_plan(
    given: Mapping[str, object],
    burns: tuple[BurnWindow, ...] = (),
    options: frozenset[str] = frozenset(),
    units: Units = SI,
) -> CabinPlan:
    """Make a plan's figures from what was given; what was not is the example's.

    Args:
        given: by name of `CabinPlan`; numbers, or the words that were typed.
        burns: when the burner is lit.
        options: the names that came as options, so that mistakes are told by option.
        units: in which people are told what comes of it.

    Raises:
        PlanError: with a sentence for each figure that is wrong.
    """

    def name_of(key: str) -> str:
        return option_name(key) if key in options else key

    sentences: list[str] = []
    read_as: list[str] = []
    read_bare: list[str] = []
    figures: dict[str, float] = {}
    for key in ACCEPTED:
        if key in given:
            try:
                figures[key] = number(key, given[key], name_of(key), units)
            except PlanError as error:
                sentences += error.sentences
            else:
                read_as += _read_as(key, given[key], name_of(key))
                if key in options:
                    read_bare += _read_bare(key, given[key], units)
    volume = figures.get("volume_m3", CabinPlan().volume_m3)
    people = figures.get("people", CabinPlan().people)
    if not sentences and people > volume / M3_A_SLEEPER:
        sentences.append(
            f"{name_of('people')} {people:g} do not fit into "
            f"{units.given_said('m3', volume)}: "
            f"give 0 to {math.floor(volume / M3_A_SLEEPER)}."
        )
    if sentences:
        raise PlanError(sentences)
    given_m3 = figures.get("volume_m3")
    of_shell: dict[str, Any] = {
        key: stated_of_shell(figures.pop(key, None), getattr(EXAMPLE, key), given_m3)
        for key in ("wall_w_k", "leak_per_h", "burner_height_m")
    }
    fuel = given.get("fuel", AS_DECLARED)
    shares = fuel if isinstance(fuel, Mapping) else {str(fuel): 1.0}
    return CabinPlan(
        burns=burns,
        fuel=MappingProxyType(dict(shares)),
        units=units,
        read_as=tuple(read_as),
        read_bare=tuple(read_bare),
        not_given=tuple(
            key
            for key in OF_THE_EXAMPLE
            if key not in given and of_shell.get(key, 0.0) is not None
        ),
        **of_shell,
        **figures,
    )


def _read_as(key: str, value: object, name: str) -> Iterator[str]:
    """Say back what a figure that came with its unit is in ours."""
    unit = unit_of_figure(key)
    read = typed(str(value), unit)
    if read is not None and read.unit != unit:
        yield f"{name}: {said_back(read, unit)}"


def _read_bare(key: str, value: object, units: Units) -> Iterator[str]:
    """Say what a figure that came without a unit is in the units that are told.

    Its name says which unit is meant, but who reads feet may have typed them.
    """
    unit = unit_of_figure(key)
    read = typed(str(value), unit)
    if read is not None and read.is_bare and units.unit(unit) != unit:
        told = units.given_said(unit, read.value)
        if told != f"{read.number:g} {units.sign(unit)}":
            yield f"{read.number:g} {ACCEPTED[key].unit} = {told}"


def burn_window(words: str) -> BurnWindow:
    """Read `HH:MM-HH:MM`, a time between noon and the next noon.

    Raises:
        PlanError: it is no such time.
    """
    asks = (
        "write the burner's times like 20:00-22:00 or 8pm-10pm, from noon to the next "
        "noon"
    )
    try:
        first, last = words.split("-")
        from_h, to_h = _from_noon(first), _from_noon(last)
    except ValueError:
        raise PlanError([f"--burn {words[:40]!r} is not a time: {asks}."]) from None
    to_h = to_h or 24.0  # until the next noon
    if to_h <= from_h:
        raise PlanError([f"--burn {words[:40]} ends before it begins: {asks}."])
    return BurnWindow(from_h, to_h)


_HALF = re.compile(r"\s*(\d{1,2})(?::(\d\d))?\s*([ap])\.?m\.?\s*", re.IGNORECASE)
"""An hour of half a day: `8pm`, `8:30 p.m.`."""


def _from_noon(words: str) -> float:
    half = _HALF.fullmatch(words)
    if half is not None:
        if not 1 <= int(half[1]) <= 12:
            raise ValueError(words)
        hour_24 = int(half[1]) % 12 + 12 * (half[3].lower() == "p")
        words = f"{hour_24}:{half[2] or '00'}"
    hours, minutes = words.split(":")
    if not (hours.strip().isdigit() and len(minutes.strip()) == 2):
        raise ValueError(words)
    hour, minute = int(hours), int(minutes)
    if not (0 <= hour <= 24 and 0 <= minute < 60):
        raise ValueError(words)
    return (hour + minute / 60.0 - 12.0) % 24.0
