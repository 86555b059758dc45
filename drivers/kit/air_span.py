"""From an oxygen cell's signal to percent, by its span in fresh air.

Behind a membrane a cell reads partial pressure, as nearly all do; behind a capillary,
through which the air diffuses, it reads oxygen's share, and pressure is not its matter.
In fresh air a cell's signal stands for a known percentage at the pressure of that day.
Later, percent = span percent x signal ratio x (span pressure / pressure now).  Left
out, 100 hPa of altitude or weather reads as 2 % of oxygen (sensor notes, section 7a).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import PRESSURE_HPA, Conditions
from cabinvigil.drivers.kit.steps import Quality, Sample

FRESH_AIR_O2_PCT = 20.9
"""Oxygen in fresh air as breathed: 20.95 % dry (ISO 2533), less by 0.05 for each
2.5 hPa of vapour."""
SEA_LEVEL_HPA = 1013.25
"""Standard pressure (ISO 2533)."""
GALVANIC_PCT_PER_K_MIN = 1.25
"""So far a galvanic cell may be off, in % of oxygen, for each kelvin a minute that its
temperature runs: its membrane passes 2 % more a kelvin and its thermistor, which takes
that away again, is three minutes ahead of it or behind (unverified; our choice)."""
GALVANIC_HPA_PER_K_MIN = 12.5
"""The same in hPa, of 1000 hPa of air."""
GALVANIC_ACCURACY_PCT = 0.5
"""A spanned cell's, from 0 to 40 C: 2 % of its reading and its drift since (data sheet,
as the sensor notes, section 7a, read it)."""
GALVANIC_SETTLES_PCT = 1.0
"""So far a galvanic cell that was just connected may come down before it has settled,
in % of oxygen: its sheet gives the time, 15 min, and not how far (our choice: a
twentieth of its signal)."""
BARRIERS = ("membrane", "capillary")
"""What the air passes into a cell: a solid membrane by its partial pressure, a
capillary by its share, which hardly minds the pressure (unverified)."""
NO_PRESSURE = (
    "it reads partial pressure, and no air pressure is known to turn it into %"
)
NO_SPAN_PRESSURE = (
    "its calibration in fresh air was kept without the air pressure of that day"
)

AIR_READING_PCT = (15.0, 25.0)
"""What a module that shows percent may show in fresh air at the sea and still be
spanned (own limits); behind a membrane it shows less higher up, by the pressure."""
READING_PCT = (7.0, 25.0)
"""The same at any height: 5 500 m have half of the sea's pressure (ISO 2533)."""

SPAN_OPTIONS = {
    "air_hpa": (
        "air pressure in hPa at the fresh-air calibration (kept by `cabinvigil span`)"
    ),
    "air_o2_pct": "oxygen in % of that fresh air, as breathed (20.9)",
    "barrier": "'membrane' (gives partial pressure, the default) or 'capillary' "
    "(gives the share)",
}
MODULE_OPTIONS = {
    "air_reading_pct": "what it showed at the fresh-air calibration (20.9)",
    **SPAN_OPTIONS,
}
"""Of a module that shows percent."""


@dataclass(frozen=True, slots=True)
class AirSpan:
    """A part's signal in fresh air, and the air it was in."""

    signal: float
    """In the part's own unit: mV of a bare cell, % of a module."""
    hpa: float | None
    """None: not kept, so that pressure cannot be corrected."""
    o2_pct: float = FRESH_AIR_O2_PCT
    is_share: bool = False
    """It reads the share itself, behind a capillary."""

    def percent(
        self, signal: float, now_hpa: float | None
    ) -> tuple[float, Quality, str]:
        """Return oxygen in %, with the quality that the known pressures leave."""
        percent = self.o2_pct * signal / self.signal
        if self.is_share:
            return percent, "good", ""
        if self.hpa is None:
            return percent, "outside-range", NO_SPAN_PRESSURE
        if now_hpa is None:
            return percent, "outside-range", NO_PRESSURE
        return percent * self.hpa / now_hpa, "good", ""

    def partial_hpa(self, signal: float) -> tuple[float, Quality, str]:
        """Return the partial pressure in hPa; doubtful without the span's pressure.

        Then the maker's own setting is assumed to have been made at sea level.
        """
        hpa = SEA_LEVEL_HPA if self.hpa is None else self.hpa
        partial = self.o2_pct / 100 * hpa * signal / self.signal
        if self.hpa is None:
            return partial, "outside-range", NO_SPAN_PRESSURE
        return partial, "good", ""


def o2_samples(span: AirSpan, signal: float, air: Conditions) -> list[Sample]:
    """Turn a signal into oxygen and into its partial pressure.

    The partial pressure is the signal alone: a part that stands still shows in it,
    while its percent goes on moving with the air pressure.  Of a share, percent is the
    signal, and the part gives no pressure.  Of both, unfit air outweighs an unknown
    pressure.
    """
    found = [Sample("o2_pct", *span.percent(signal, air.get("pressure_hpa")))]
    if not span.is_share:
        found.append(Sample("o2_hpa", *span.partial_hpa(signal)))
    quality, reason = air.quality()
    if quality == "good":
        return found
    return [Sample(one.quantity, one.value, quality, reason) for one in found]


def span_of(options: Mapping[str, Any], signal: float) -> AirSpan:
    """Read the span's air from the options.

    Raises:
        ValueError: an option is out of bounds.
    """
    return AirSpan(
        signal,
        opt.optional_number(options, "air_hpa", *PRESSURE_HPA),
        opt.number(options, "air_o2_pct", FRESH_AIR_O2_PCT, 19.0, 21.0),
        is_share=gives_share(options),
    )


def gives_share(options: Mapping[str, Any]) -> bool:
    """Return whether a cell gives the share, by its barrier.

    Raises:
        ValueError: the barrier is none that there is.
    """
    return opt.choice(options, "barrier", BARRIERS[0], BARRIERS) == "capillary"


def leaves_out(options: Mapping[str, Any]) -> frozenset[str]:
    """Return what a cell does not give, by its options; `make` tells of wrong ones."""
    is_share = options.get("barrier") == "capillary"
    return frozenset({"o2_hpa"}) if is_share else frozenset()


def module_span(options: Mapping[str, Any]) -> AirSpan:
    """Read the span of a module that shows percent.

    Raises:
        ValueError: an option is out of bounds.
    """
    reading = opt.number(options, "air_reading_pct", FRESH_AIR_O2_PCT, *READING_PCT)
    return span_of(options, reading)
