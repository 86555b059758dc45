"""Draws a scene at random: a plain night, which its kind then bends.

Ranges are common practice or own judgement unless a source stands there.
"""

import math
import random

from tests.bench.second_nights.openings import Crack, Envelope, Opening
from tests.bench.second_nights.scene import (
    Course,
    Event,
    Heater,
    Scene,
    Shell,
    Sleeper,
    Weather,
)


def log_uniform(rng: random.Random, low: float, high: float) -> float:
    """Draw evenly by factors."""
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def pressure_at_hpa(altitude_m: float) -> float:
    """Give the mean pressure: the barometric formula with 8.4 km, sharpened below.

    ISA troposphere: 1013.25 (1 - 2.2558e-5 h)^5.2559.
    """
    return float(1013.25 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def draw_shell(rng: random.Random) -> Shell:
    """Draw a van, a boat, a hut."""
    volume = log_uniform(rng, 5.0, 35.0)
    height = rng.uniform(1.6, 2.4)
    wall = 6.3 * volume ** (2.0 / 3.0)
    glass = rng.uniform(0.3, 0.07 * wall)
    sorbs = rng.choice((0.05, 0.2, 0.6, 1.0)) * rng.uniform(0.6, 1.4)
    return Shell(
        volume,
        height,
        wall,
        wall_w_k=wall * rng.uniform(0.7, 1.8),
        wall_kj_k=wall * rng.uniform(4.0, 15.0),
        room_kj_k=volume * rng.uniform(1.0, 4.0),
        glass_m2=glass,
        glass_u=rng.choice((2.8, 3.5, 5.6)),
        skin_m2=rng.choice((0.0, 0.0, rng.uniform(0.2, 2.0))),
        skin_u=6.0,
        # grams a square metre and percent: moisture buffer values as NORDTEST has
        # them, 0.1 for metal and lacquer to 1 for bare wood (from memory)
        sorbs_kg=0.1 * sorbs * wall,
        sorb_m_s=log_uniform(rng, 0.0002, 0.001),
        deep_kg=rng.uniform(0.5, 3.0) * 0.1 * sorbs * wall,
        deep_s=3600.0 * rng.uniform(3.0, 15.0),
        co2_share=rng.uniform(0.0, 0.03),
        co2_s=3600.0 * rng.uniform(0.5, 3.0),
    )


def draw_weather(rng: random.Random, seconds: float, altitude_m: float) -> Weather:
    """Draw outdoors; colder towards the morning more often than not."""
    begins_c = rng.uniform(-20.0, 15.0)
    falls_k = rng.uniform(-2.0, 7.0)
    hours = seconds / 3600.0
    temp: Course = [(0.0, begins_c)]
    for i in range(1, 5):
        share = i / 4.0
        swing = rng.gauss(0.0, 0.5) - falls_k * math.sin(0.5 * math.pi * share)
        temp.append((share * seconds, max(-25.0, begins_c + swing)))
    mean_wind = rng.choice((0.0, rng.uniform(0.0, 1.5), rng.uniform(0.5, 4.0)))
    wind: Course = []
    for i in range(round(hours) + 1):
        wind.append((3600.0 * i, mean_wind * math.exp(rng.gauss(0.0, 0.3))))
    base = pressure_at_hpa(altitude_m) + rng.gauss(0.0, 6.0)
    trend = rng.gauss(0.0, 0.3)
    pressure = [(0.0, base), (seconds, base + trend * hours)]
    return Weather(
        temp,
        rng.uniform(60.0, 98.0),
        wind,
        [(0.0, rng.uniform(0.0, 2.0 * math.pi))],
        gust_share=rng.uniform(0.0, 0.25),
        gust_s=rng.uniform(5.0, 40.0),
        pressure_hpa=pressure,
        co2_ppm=rng.uniform(415.0, 450.0),
    )


def draw_heater(rng: random.Random, shell: Shell, outside_c: float) -> Heater:
    """Draw a heater that would warm this cabin, more or less."""
    w_k = shell.wall_w_k + shell.glass_m2 * shell.glass_u + shell.skin_m2 * 5.0 + 8.0
    wanted_k = max(6.0, rng.uniform(14.0, 24.0) - outside_c)
    kw = w_k * wanted_k / 920.0 * rng.uniform(0.9, 1.6)
    kw = min(4.5, max(0.6, kw))
    low = kw * rng.uniform(0.45, 0.7)
    is_catalytic = rng.random() < 0.35
    error = rng.gauss(1.0, 0.03)
    return Heater(
        kw,
        low,
        label_kw=kw * error,
        label_low_kw=low * error * rng.gauss(1.0, 0.05),
        is_catalytic=is_catalytic,
        co_share=log_uniform(rng, 0.0005, 0.006 if not is_catalytic else 0.002),
        radiant=rng.uniform(0.1, 0.45),
        fades_pct=rng.uniform(2.0, 8.0) if is_catalytic else 0.0,
        # guards of oxygen depletion shut by 18 % (EN 449 says 1.5 % CO2; from memory)
        cuts_out_pct=rng.choice((0.0, rng.uniform(17.8, 18.6))),
    )


def draw_sleeper(rng: random.Random) -> Sleeper:
    """Draw somebody; 3.5 ml/(kg min) is the resting norm, sleep a tenth less."""
    return Sleeper(
        kg=rng.uniform(50.0, 100.0),
        rq=rng.uniform(0.80, 0.95),
        asleep_ml_kg_min=rng.uniform(2.7, 3.4),
        awake_factor=rng.uniform(1.2, 1.7),
        water_g_h=rng.uniform(30.0, 55.0),
    )


def draw_paths(
    rng: random.Random, shell: Shell, vent_cm2: float
) -> tuple[list[Opening], list[Crack]]:
    """Draw vents on two sides or roof, and cracks at three heights."""
    side = rng.uniform(0.0, 2.0 * math.pi)
    roof = rng.random() < 0.4
    tall = 0.08
    low = Opening(
        "vent_low",
        1e-4 * vent_cm2 * math.exp(rng.gauss(0.0, 0.25)),
        rng.uniform(0.1, 0.4),
        tall,
        side,
        discharge=rng.uniform(0.55, 0.65),
    )
    high = Opening(
        "vent_high",
        1e-4 * vent_cm2 * math.exp(rng.gauss(0.0, 0.25)),
        shell.height_m - rng.uniform(0.05, 0.35),
        tall,
        None if roof else side + rng.choice((0.0, math.pi)),
        cp=rng.uniform(-0.6, -0.2),
        discharge=rng.uniform(0.55, 0.65),
    )
    window = Opening("window", 0.0, 1.2, 0.5, side + 0.5 * math.pi)
    return [low, high, window], draw_cracks(rng, shell, log_uniform(rng, 0.15, 1.5))


def draw_cracks(rng: random.Random, shell: Shell, per_h_at_4_pa: float) -> list[Crack]:
    """Spread a leak over the cabin's sides and heights."""
    exponent = rng.uniform(0.6, 0.7)
    whole = per_h_at_4_pa * shell.volume_m3 / 3600.0 / 4.0**exponent
    side = rng.uniform(0.0, 2.0 * math.pi)
    parts = [rng.uniform(0.5, 1.5) for _ in range(4)]
    total = math.fsum(parts)
    heights = (0.1, 0.5 * shell.height_m, 0.5 * shell.height_m, shell.height_m - 0.1)
    sides = (side, side, side + math.pi, None)
    return [
        Crack(whole * part / total, exponent, height, azimuth, cp=-0.3)
        for part, height, azimuth in zip(parts, heights, sides, strict=True)
    ]


def leak_per_h(scene: Scene) -> float:
    """Give the air changes that remain with all shut, 20 K warmer, wind as drawn."""
    envelope = Envelope([], scene.cracks, 0.5 * scene.shell.height_m)
    pa, outside_c = 100.0 * scene.weather.pressure_hpa[0][1], scene.weather.temp_c[0][1]
    wind = scene.weather.wind_m_s[0][1]
    flow = envelope.flow(pa, outside_c + 20.0, outside_c, wind, 0.0)
    moles = pa * scene.shell.volume_m3 / 8.314462 / (outside_c + 293.15)
    return 3600.0 * flow.in_mol_s / moles


def draw_scene(rng: random.Random, kind: str, seconds: float, wide: bool) -> Scene:
    """Draw a plain night.

    Args:
        rng: source of chance.
        kind: its name.
        seconds: its length.
        wide: vents from nearly shut to ample, for nights half of which are dangerous;
            else as people who mean well have them.
    """
    shell = draw_shell(rng)
    altitude = rng.choice((0.0, rng.uniform(0.0, 300.0), rng.uniform(300.0, 1200.0)))
    weather = draw_weather(rng, seconds, altitude)
    heater = draw_heater(rng, shell, weather.temp_c[0][1])
    vent_cm2 = log_uniform(rng, 18.0, 320.0) if wide else log_uniform(rng, 30.0, 300.0)
    openings, cracks = draw_paths(rng, shell, vent_cm2)
    people = [draw_sleeper(rng) for _ in range(rng.choice((1, 1, 2, 2, 2, 3)))]
    scene = Scene(
        kind,
        seconds,
        shell,
        heater,
        openings,
        cracks,
        people,
        weather,
        altitude,
        fuel_kg={"propane": rng.uniform(2.0, 10.0)},
        cylinder_outside=rng.random() < 0.5,
        starts_c=rng.uniform(0.0, 15.0),
        starts_rh_pct=rng.uniform(40.0, 75.0),
        starts_co2_ppm=weather.co2_ppm + rng.uniform(0.0, 600.0),
        marked=rng.random() < 0.3,
    )
    scene.events = draw_evening(rng, scene)
    return scene


def draw_evening(rng: random.Random, scene: Scene) -> list[Event]:
    """Draw when it is lit, turned down and put out, and when they fall asleep."""
    lit = rng.choice((0.0, rng.uniform(60.0, 1800.0)))
    sleep = rng.uniform(300.0, 1500.0)
    low = scene.heater.low_kw / scene.heater.high_kw
    events = [
        Event(lit, "flame", rng.choice((1.0, 1.0, low))),
        Event(0.0, "awake", 1.0),
        Event(sleep, "awake", 0.0),
    ]
    if rng.random() < 0.4:
        events.append(Event(lit + rng.uniform(1800.0, 5400.0), "flame", low))
    if rng.random() < 0.3:
        out = scene.seconds * rng.uniform(0.4, 0.9)
        events.append(Event(out, "flame", 0.0))
    return events
