"""An air that lives by itself: one well-mixed space, and nothing of the product in it.

Shares are in percent of the dry air (CO and CO2 in ppm); vapour dilutes them all when
they are read.  Every change is an exponential towards what its sources and the fresh
air would settle at, so a step of any length is exact.

Figures, all from memory: propane gives 2219 kJ/mol and takes 5 O2 for 3 CO2; a mole
of gas fills 24.1 l at 20 °C and 1013 hPa; a sleeper takes 15 l of O2 an hour and gives
12.4 of CO2; outdoor air has 20.95 % O2 and 430 ppm CO2; pressure falls by a factor e in
8.4 km.
"""

import math
from dataclasses import dataclass

OUTDOOR_O2_PCT = 20.95
OUTDOOR_CO2_PPM = 430.0
O2_M3_PER_KWH = 5 * 3600.0 / 2219.0 * 0.0241
CO2_PER_O2_BURNT = 3.0 / 5.0
O2_M3_PER_SLEEPER_H = 0.015
CO2_PER_O2_BREATHED = 0.0124 / 0.015
FLAME_DIES_PCT = 14.0
"""A flame weakens below this and is out a point lower."""
WARM_H = 0.4
"""Time constant of the cabin's temperature and vapour, in hours."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What the air is, as it is breathed."""

    o2_pct: float
    co_ppm: float
    co2_ppm: float
    gas_pct: float
    """Unburnt gas, in percent by volume."""
    temp_c: float
    rh_pct: float
    pressure_hpa: float


@dataclass(slots=True)
class Air:
    """The air of one cabin; `live` moves it, whoever is inside turns its knobs."""

    volume_m3: float
    altitude_m: float
    people: float = 2.0
    burner_kw: float = 0.0
    changes_per_h: float = 4.0
    co_ppm_per_min: float = 0.0
    """Source of carbon monoxide alone, by volume of the cabin."""
    gas_pct_per_min: float = 0.0
    """Unburnt gas that flows in and pushes air out."""
    outside_c: float = 0.0
    weather_hpa: float = 0.0
    """Off the standard pressure of the height."""
    o2_dry_pct: float = OUTDOOR_O2_PCT
    co_ppm: float = 0.5
    co2_ppm: float = 900.0
    gas_pct: float = 0.0
    temp_c: float = 14.0
    vapour_hpa: float = 8.0

    def turn(self, knob: str, value: float) -> None:
        """Set a source, or the air itself (somebody opens a door to worse air)."""
        if not hasattr(self, knob):
            raise KeyError(knob)
        setattr(self, knob, value)

    def live(self, dt_s: float) -> None:
        """Let so much time pass."""
        hours = dt_s / 3600.0
        strength = min(1.0, max(0.0, self.o2_dry_pct - FLAME_DIES_PCT + 1.0))
        used_m3 = self.burner_kw * strength * O2_M3_PER_KWH
        breathed_m3 = self.people * O2_M3_PER_SLEEPER_H
        given_m3 = used_m3 * CO2_PER_O2_BURNT + breathed_m3 * CO2_PER_O2_BREATHED
        fresh = self.changes_per_h
        out = fresh + self.gas_pct_per_min * 0.6
        share = 1e2 / self.volume_m3
        self.o2_dry_pct = _towards(
            self.o2_dry_pct,
            fresh * OUTDOOR_O2_PCT - (used_m3 + breathed_m3) * share,
            out,
            hours,
        )
        self.co2_ppm = _towards(
            self.co2_ppm, fresh * OUTDOOR_CO2_PPM + given_m3 * share * 1e4, out, hours
        )
        co_source = self.co_ppm_per_min * 60.0
        self.co_ppm = _towards(self.co_ppm, fresh * 0.3 + co_source, out, hours)
        gas_source = self.gas_pct_per_min * 60.0
        self.gas_pct = _towards(self.gas_pct, gas_source, out, hours)
        warm_c = self.outside_c + 14.0 + 12.0 * self.burner_kw * 11.0 / self.volume_m3
        self.temp_c += (min(warm_c, 45.0) - self.temp_c) * -math.expm1(-hours / WARM_H)
        wet_hpa = 6.0 + 3.0 * self.people + 4.0 * self.burner_kw
        wet_hpa = min(wet_hpa, 0.95 * saturated_hpa(self.temp_c))
        self.vapour_hpa += (wet_hpa - self.vapour_hpa) * -math.expm1(-hours / WARM_H)

    def truth(self) -> Truth:
        """Return the air as it is breathed now."""
        pressure_hpa = 1013.0 * math.exp(-self.altitude_m / 8400.0) + self.weather_hpa
        vapour_hpa = min(self.vapour_hpa, saturated_hpa(self.temp_c))
        room = 1.0 - vapour_hpa / pressure_hpa
        return Truth(
            o2_pct=max(0.2, self.o2_dry_pct * room),
            co_ppm=max(0.0, self.co_ppm * room),
            co2_ppm=max(300.0, self.co2_ppm * room),
            gas_pct=self.gas_pct,
            temp_c=self.temp_c,
            rh_pct=100.0 * vapour_hpa / saturated_hpa(self.temp_c),
            pressure_hpa=pressure_hpa,
        )


def saturated_hpa(temp_c: float) -> float:
    """Return the pressure of saturated vapour (Magnus; constants from memory)."""
    return 6.112 * math.exp(17.62 * temp_c / (243.12 + temp_c))


def _towards(value: float, source: float, out: float, hours: float) -> float:
    """Solve dx/dt = source - out x over a time."""
    if out <= 1e-9:
        return value + source * hours
    settled = source / out
    return settled + (value - settled) * math.exp(-out * hours)
