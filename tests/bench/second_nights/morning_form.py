"""A night as the morning reads it: a log, and the cabin as its user would state it."""

import math
import random
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.review.morning import Morning
from tests.bench.second_nights.draw import leak_per_h
from tests.bench.second_nights.live import Moment
from tests.bench.second_nights.night import SecondNight, make
from tests.review import logs

FIGURES = ("air_changes_per_h", "burn_kw", "gas_kg", "water_made_kg", "water_left_kg")
MARKED = {
    "flame": "burner",
    "vent_low": "vents",
    "vent_high": "vents",
    "window": "door",
    "stove": "cooking",
    "there": "people",
}


def stated(night: SecondNight) -> dict[str, Any]:
    """Give the cabin as its user states it, with the errors that users make.

    The volume is within a tenth, the vents within 15 %; the label is the heater's, on
    the higher heating value; the weather is a forecast; the leak is seldom known.
    """
    rng = random.Random(f"stated {night.seed}")
    scene = night.scene
    vents = {one.name: one for one in scene.openings}
    areas = {name: 1e4 * area for name, area in night.life.areas.items()}
    if areas["vent_low"] == areas["vent_high"] == 0.0:  # the window is the only vent
        areas["vent_high"] = night.moments[0].window_cm2
    outside_c = math.fsum(one.outside_c for one in night.moments) / len(night.moments)
    wind = math.fsum(one.wind_m_s for one in night.moments) / len(night.moments)
    total_kg = math.fsum(scene.fuel_kg.values())
    is_known = rng.random() < 0.4
    came_later = [one for one in scene.events if one.what == "there"]
    first = [one.value for one in came_later if one.at_s <= 0.0]
    panes = scene.shell.glass_m2 * scene.shell.glass_u
    panes += scene.shell.skin_m2 * scene.shell.skin_u
    return {
        "volume_m3": round(scene.shell.volume_m3 * rng.uniform(0.9, 1.1), 1),
        "people": round(first[0]) if first else len(scene.people),
        "altitude_m": round(scene.altitude_m + rng.gauss(0.0, 30.0)),
        "burner_kw": round(scene.heater.label_kw, 2),
        "burner_low_kw": round(scene.heater.label_low_kw, 2),
        "fuel": {
            name: round(kg / total_kg, 4)
            for name, kg in scene.fuel_kg.items()
            if kg > 0.001
        },
        "cylinder_kg": round(total_kg + 0.5),
        "vent_low_cm2": round(areas["vent_low"] * rng.uniform(0.85, 1.15)),
        "vent_high_cm2": round(areas["vent_high"] * rng.uniform(0.85, 1.15)),
        "vent_height_m": round(
            (vents["vent_high"].mid_m - vents["vent_low"].mid_m)
            * rng.uniform(0.9, 1.1),
            2,
        ),
        "glass_u_w_m2k": rng.choice((None, scene.shell.glass_u)),
        "wall_w_k": rng.choice(
            (None, round((scene.shell.wall_w_k + panes) * rng.uniform(0.7, 1.4)))
        ),
        "outside_c": round(outside_c + rng.gauss(0.0, 1.5)),
        "outside_rh_pct": round(
            min(100.0, max(30.0, scene.weather.rh_pct + rng.gauss(0.0, 5.0)))
        ),
        "wind_mps": round(wind * rng.uniform(0.5, 1.7), 1),
        "leak_per_h": round(leak_per_h(scene) * math.exp(rng.gauss(0.0, 0.4)), 2)
        if is_known
        else None,
        "outdoor_co2_ppm": 425.0,
    }


def log_of(night: SecondNight) -> bytes:
    """Write the night as its log would hold it."""
    lines = [logs.begin(config=logs.config(**stated(night)))]
    timed: list[tuple[float, bytes]] = []
    end_ppm = night.parts.co2.scale_end
    for moment, row in zip(night.moments, night.readings, strict=True):
        told: dict[str, Any] = dict(row)
        if row.get("co2_ppm", 0.0) >= end_ppm:
            told["at_least"] = ["co2_ppm"]
        timed.append((moment.at_s, logs.line("air", moment.at_s, **told)))
    if night.scene.marked:
        for event in night.scene.events:
            text = MARKED.get(event.what)
            if text is not None and event.at_s > 0.0:
                mark = logs.line("mark", event.at_s, text=text, by="phone")
                timed.append((event.at_s, mark))
    return b"".join(lines + [one for _, one in sorted(timed, key=lambda one: one[0])])


def between(moments: list[Moment], from_s: float, to_s: float) -> list[Moment]:
    """Give the moments of a part of the night."""
    return [one for one in moments if from_s < one.at_s <= to_s]


def truth_between(
    moments: list[Moment], from_s: float = 0.0, to_s: float = math.inf
) -> dict[str, float]:
    """Give what was so of each figure, of a part of the night or the whole.

    Power is the mean while anything is lit, on the higher heating value; 0 if never.
    """
    part = between(moments, from_s, to_s)
    before = [one for one in moments if one.at_s <= from_s]
    gas = made = left = 0.0
    if before:
        gas, made = before[-1].gas_kg, before[-1].water_made_kg
        left = before[-1].water_left_kg
    lit = [one.burn_kw for one in part if one.burn_kw > 0.0]
    return {
        "air_changes_per_h": math.fsum(one.changes_per_h for one in part) / len(part),
        "burn_kw": math.fsum(lit) / len(lit) if lit else 0.0,
        "gas_kg": part[-1].gas_kg - gas,
        "water_made_kg": part[-1].water_made_kg - made,
        "water_left_kg": part[-1].water_left_kg - left,
    }


def account_of(
    seed: int, folder: Path, kind: str | None = None
) -> tuple[Morning, SecondNight]:
    """Live a night, write its log, and give account of it."""
    night = make(seed, kind)
    path = logs.write(folder, log_of(night))
    return give_account(files(path)), night


def is_inside(told: Any, known: Mapping[str, float], name: str) -> bool:
    """Say whether the truth of a figure lies in what is stated of it."""
    low, _, high = getattr(told, name)
    # what is left is told as 0 where walls dried (`Totals.water_left_kg`)
    true = max(0.0, known[name]) if name == "water_left_kg" else known[name]
    return bool(low - 1e-9 <= true <= high + 1e-9)
