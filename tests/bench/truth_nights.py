"""Seeded nights whose truth is known, written as log lines without the whole daemon.

The cabin is the shared zone model (held against measured rooms elsewhere); vents, wind,
burner, people and sensors are drawn from the seed.  Sensors have the errors that their
makers state, read as three standard deviations where a class is given.
"""

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir, pressure_hpa
from cabinvigil.daemon.air.breathing import Person, together
from cabinvigil.daemon.air.combustion import PROPANE, burn
from cabinvigil.daemon.air.moisture import surface_c
from cabinvigil.daemon.air.vents import Vents, vent_m3_s
from cabinvigil.daemon.air.zone import (
    Inputs,
    People,
    Surface,
    Zone,
    air_changes_per_h,
    air_m3_s,
    outdoor_state,
    step,
)
from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.review.morning import Morning
from tests.review import logs

START = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)
OUTDOOR_PPM = 420.0
MODEL_S = 10.0
HOURS = 9.0


@dataclass
class Truth:
    """What was really so."""

    at_s: list[float] = field(default_factory=list)
    air_changes_per_h: list[float] = field(default_factory=list)
    burn_kw: list[float] = field(default_factory=list)
    o2_pct: list[float] = field(default_factory=list)
    co2_ppm: list[float] = field(default_factory=list)
    gas_kg: float = 0.0
    water_made_kg: float = 0.0
    water_on_walls_kg: float = 0.0

    @property
    def mean_changes_per_h(self) -> float:
        return sum(self.air_changes_per_h) / len(self.air_changes_per_h)

    @property
    def mean_burn_kw(self) -> float:
        """While lit; 0 where it never was."""
        lit = [one for one in self.burn_kw if one > 0.0]
        return sum(lit) / len(lit) if lit else 0.0


@dataclass
class Draw:
    """One night as drawn."""

    volume_m3: float
    people: int
    breath: float
    low_kw: float
    high_kw: float
    vent_cm2: float
    leak_per_h: float
    outside_c: float
    outside_rh_pct: float
    wind_mps: float
    wall_w_k: float
    open_share: list[tuple[float, float, float]]
    """(from s, share, over s)."""
    burner: list[tuple[float, float]]
    """(from s, kW)."""
    heads: list[tuple[float, int]]


def draw(seed: int, hours: float = HOURS) -> Draw:
    """Draw a night."""
    r = Random(seed)
    end_s = hours * 3600.0
    volume = r.uniform(6.0, 20.0)
    low = r.uniform(0.5, 1.1)
    high = low * r.uniform(1.5, 2.2)
    vents = [(0.0, r.choice([0.0, 0.3, 0.6, 1.0, 1.0]), 0.0)]
    if r.random() < 0.5:  # someone opens or shuts a vent
        vents.append((r.uniform(0.15, 0.85) * end_s, r.choice([0.1, 0.5, 1.0]), 0.0))
    elif r.random() < 0.3:  # rime closes it
        vents.append((r.uniform(0.3, 0.5) * end_s, 0.05, 7200.0))
    burner = [(0.0, 0.0), (r.uniform(300.0, 3600.0), r.choice([low, high]))]
    if r.random() < 0.5:
        burner.append((r.uniform(0.3, 0.9) * end_s, r.choice([0.0, low, high])))
    if r.random() < 0.1:
        burner = [(0.0, 0.0)]
    people = r.choice([1, 2, 2, 2, 3, 4])
    heads = [(0.0, people)]
    if r.random() < 0.2:
        heads.append((r.uniform(0.3, 0.9) * end_s, max(1, people - 1)))
    return Draw(
        volume,
        people,
        1.0 + r.gauss(0.0, 0.13),
        low,
        high,
        r.uniform(40.0, 200.0),
        r.uniform(0.1, 0.5),
        r.uniform(-20.0, 5.0),
        r.uniform(70.0, 95.0),
        r.uniform(0.0, 3.0),
        2.2 * volume + r.uniform(0.0, 20.0),
        vents,
        burner,
        heads,
    )


def _share(course: list[tuple[float, float, float]], at_s: float) -> float:
    value = course[0][1]
    for begin, to, over in course[1:]:
        if at_s >= begin:
            done = 1.0 if over == 0.0 else min(1.0, (at_s - begin) / over)
            value += (to - value) * done
    return value


def _last(course: list[Any], at_s: float) -> Any:
    return [one for one in course if one[0] <= at_s][-1][1]


@dataclass
class Parts:
    """Sensors with their own errors."""

    random: Random

    def __post_init__(self) -> None:
        r = self.random
        self.co2_offset = r.gauss(0.0, 40.0 / 3)  # SCD4x class, sensors.md 1
        self.co2_gain = r.gauss(1.0, 0.05 / 3)
        self.o2_gain = r.gauss(1.0, 0.005)
        self.rh_offset = r.gauss(0.0, 1.8 / 2)  # SHT4x class, sensors.md 7
        self.temp_offset = r.gauss(0.0, 0.1)
        self.co2_lagged: float | None = None

    def see(
        self,
        o2: float,
        co2: float,
        co: float,
        temp: float,
        rh: float,
        glass: float,
        dt_s: float,
    ) -> dict[str, float]:
        r = self.random
        before = co2 if self.co2_lagged is None else self.co2_lagged
        self.co2_lagged = before + (co2 - before) * (1.0 - math.exp(-dt_s / 60.0))
        seen = self.co2_lagged * self.co2_gain + self.co2_offset
        seen += r.gauss(0.0, 3.0 + 0.001 * seen)
        return {
            "o2_pct": round(o2 * self.o2_gain + r.gauss(0.0, 0.015), 2),
            "co2_ppm": float(round(seen)),
            "co_ppm": round(co + r.gauss(0.0, 0.4), 1),
            "temp_c": round(temp + self.temp_offset + r.gauss(0.0, 0.03), 2),
            "rh_pct": round(
                min(max(rh + self.rh_offset + r.gauss(0.0, 0.1), 0.0), 100.0), 1
            ),
            "temp_c_glass": round(glass + r.gauss(0.0, 0.05), 2),
        }


def live(
    night: Draw, seed: int, hours: float = HOURS, tick_s: float = 10.0
) -> tuple[list[tuple[float, dict[str, float]]], Truth]:
    """Live through a night: what the sensors said, and what was so."""
    r = Random(seed * 7919 + 1)
    parts = Parts(Random(seed * 7919 + 2))
    glass_u, glass_m2, walls_m2 = 2.8, 1.2, 6.0 * night.volume_m3 ** (2 / 3)
    zone = Zone(
        night.volume_m3,
        night.wall_w_k,
        23e3 * night.volume_m3,
        pressure_hpa(640.0),
        (
            Surface(glass_m2, glass_u),
            Surface(walls_m2, (night.wall_w_k - glass_m2 * glass_u) / walls_m2),
        ),
    )
    outside = OutsideAir(night.outside_c, night.outside_rh_pct, OUTDOOR_PPM)
    state = outdoor_state(zone, outside, 12.0)
    truth = Truth()
    rows = []
    gust = 0.0
    person = Person()
    for n in range(int(hours * 3600.0 / MODEL_S)):
        at_s = n * MODEL_S
        gust += -gust * MODEL_S / 1200.0 + r.gauss(
            0.0, 0.6 * math.sqrt(2 * MODEL_S / 1200.0)
        )
        share = _share(night.open_share, at_s)
        vents = Vents(night.vent_cm2, night.vent_cm2, 1.6, share, share)
        air = vent_m3_s(
            vents, state.temp_c, night.outside_c, max(0.0, night.wind_mps + gust)
        )
        air += air_m3_s(zone, state.temp_c, night.outside_c, night.leak_per_h)
        heads = _last(night.heads, at_s)
        one = together(heads, person)
        people = People(
            one.o2_mol_s * night.breath,
            one.co2_mol_s * night.breath,
            one.h2o_mol_s * night.breath,
            one.heat_w * night.breath,
        )
        kw = _last(night.burner, at_s)
        inputs = Inputs(outside, air, kw, co_fraction=0.0025, people=people)
        truth.at_s.append(at_s)
        truth.air_changes_per_h.append(air_changes_per_h(zone, state.temp_c, inputs))
        truth.burn_kw.append(kw)
        flame = burn(PROPANE, kw)
        truth.gas_kg += flame.fuel_mol_s * PROPANE.kg_mol * MODEL_S
        truth.water_made_kg += 0.018015 * MODEL_S * (flame.h2o_mol_s + people.h2o_mol_s)
        state = step(zone, state, inputs, MODEL_S)
        truth.o2_pct.append(readings.o2_pct(state))
        truth.co2_ppm.append(readings.co2_ppm(state))
        if at_s % tick_s < MODEL_S:
            rh = min(100.0, readings.rh_pct(zone, state))
            rows.append(
                (
                    at_s,
                    parts.see(
                        readings.o2_pct(state),
                        readings.co2_ppm(state),
                        readings.co_ppm(state),
                        state.temp_c,
                        rh,
                        surface_c(state.temp_c, night.outside_c, glass_u),
                        max(tick_s, MODEL_S),
                    ),
                )
            )
    truth.water_on_walls_kg = sum(state.film_kg) + state.drained_kg
    return rows, truth


def log_of(night: Draw, rows: list[tuple[float, dict[str, float]]]) -> bytes:
    """Write a night as its log would hold it, the cabin's facts in its head."""
    facts = logs.config(
        volume_m3=night.volume_m3,
        people=night.people,
        burner_kw=night.high_kw,
        burner_low_kw=night.low_kw,
        vent_low_cm2=night.vent_cm2,
        vent_high_cm2=night.vent_cm2,
        leak_per_h=night.leak_per_h,
        outside_c=night.outside_c,
        outside_rh_pct=night.outside_rh_pct,
        wind_mps=night.wind_mps,
        outdoor_co2_ppm=OUTDOOR_PPM,
    )
    return logs.begin(config=facts) + logs.air(rows)


FIGURES = ("air_changes_per_h", "burn_kw", "gas_kg", "water_made_kg", "water_left_kg")


def truths(truth: Truth) -> dict[str, float]:
    """Give what was so of each figure."""
    return {
        "air_changes_per_h": truth.mean_changes_per_h,
        "burn_kw": truth.mean_burn_kw,
        "gas_kg": truth.gas_kg,
        "water_made_kg": truth.water_made_kg,
        "water_left_kg": truth.water_on_walls_kg,
    }


def account_of(seed: int, folder: Path) -> tuple[Morning, Truth]:
    """Live a night, write its log, and give account of it."""
    night = draw(seed)
    rows, truth = live(night, seed)
    path = logs.write(folder, log_of(night, rows))
    return give_account(files(path)), truth


def hits(found: Morning, truth: Truth) -> dict[str, bool]:
    """Say of each figure whether the truth lies in its interval."""
    totals, known = found.whole.totals, truths(truth)
    if totals is None:
        return dict.fromkeys(FIGURES, False)
    inside = {}
    for name in FIGURES:
        low, _, high = getattr(totals, name)
        inside[name] = low - 1e-9 <= known[name] <= high + 1e-9
    return inside
