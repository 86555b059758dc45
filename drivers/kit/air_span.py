"""Oxygen cells read partial pressure: percent comes from a fresh-air span and pressure.

In fresh air a cell's signal stands for a known percentage at the pressure of that day.
Later, percent = span percent x signal ratio x (span pressure / pressure now).  Left
out, 100 hPa of altitude or weather reads as 2 % of oxygen (sensor notes, section 7a).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import Quality, Sample

FRESH_AIR_O2_PCT = 20.9
"""Oxygen in fresh air as breathed: 20.95 % dry (ISO 2533), less by 0.05 for each
2.5 hPa of vapour."""
SEA_LEVEL_HPA = 1013.25
"""Standard pressure (ISO 2533)."""
PRESSURE_HPA = (300.0, 1100.0)
"""As `QUANTITIES` has it for air pressure."""
NO_PRESSURE = (
    "it reads partial pressure, and no air pressure is known to turn it into %"
)
NO_SPAN_PRESSURE = "its span in fresh air was kept without the air pressure of that day"

SPAN_OPTIONS = {
    "air_hpa": "air pressure in hPa at the fresh-air span (kept by `cabinvigil span`)",
    "air_o2_pct": "oxygen in % of that fresh air, as breathed (20.9)",
}


@dataclass(frozen=True, slots=True)
class AirSpan:
    """A part's signal in fresh air, and the air it was in."""

    signal: float
    """In the part's own unit: mV of a bare cell, % of a module."""
    hpa: float | None
    """None: not kept, so that pressure cannot be corrected."""
    o2_pct: float = FRESH_AIR_O2_PCT

    def percent(
        self, signal: float, now_hpa: float | None
    ) -> tuple[float, Quality, str]:
        """Return oxygen in %, with the quality that the known pressures leave."""
        percent = self.o2_pct * signal / self.signal
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


def o2_sample(
    span: AirSpan, signal: float, now_hpa: float | None, air: Conditions
) -> Sample:
    """Turn a signal into oxygen; unfit air outweighs an unknown pressure."""
    percent, quality, reason = span.percent(signal, now_hpa)
    if air.quality()[0] != "good":
        quality, reason = air.quality()
    return Sample("o2_pct", percent, quality, reason)


def o2_samples(
    span: AirSpan, signal: float, now_hpa: float | None, air: Conditions
) -> list[Sample]:
    """Turn a signal into oxygen and into its partial pressure.

    The partial pressure is the signal alone: a part that stands still shows in it,
    while its percent goes on moving with the air pressure.
    """
    partial, quality, reason = span.partial_hpa(signal)
    if air.quality()[0] != "good":
        quality, reason = air.quality()
    return [
        o2_sample(span, signal, now_hpa, air),
        Sample("o2_hpa", partial, quality, reason),
    ]


def span_of(options: Mapping[str, Any], signal: float) -> AirSpan:
    """Read the span's air from the options.

    Raises:
        ValueError: an option is out of bounds.
    """
    return AirSpan(
        signal,
        opt.optional_number(options, "air_hpa", *PRESSURE_HPA),
        opt.number(options, "air_o2_pct", FRESH_AIR_O2_PCT, 19.0, 21.0),
    )


def is_pressure(quantity: str, value: float) -> bool:
    """Say whether this is an air pressure that can be used."""
    return quantity == "pressure_hpa" and PRESSURE_HPA[0] <= value <= PRESSURE_HPA[1]
