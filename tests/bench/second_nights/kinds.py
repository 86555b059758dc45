"""Kinds of nights: each bends a plain scene, its parts or their places."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

from tests.bench.second_nights.draw import (
    draw_cracks,
    draw_sleeper,
    log_uniform,
    pressure_at_hpa,
)
from tests.bench.second_nights.live import Places
from tests.bench.second_nights.scene import Event, Scene
from tests.bench.second_nights.sensors import Parts


@dataclass
class Draw:
    """A night before it is lived, for a kind to bend."""

    rng: random.Random
    scene: Scene
    parts: Parts
    places: Places

    def when(self, low: float, high: float) -> float:
        """Draw a moment by shares of the night."""
        return self.scene.seconds * self.rng.uniform(low, high)

    def instead(self, *events: Event) -> None:
        """Replace what is done of the first event's sort."""
        what = events[0].what
        kept = [one for one in self.scene.events if one.what != what]
        self.scene.events = [*kept, *events]


Bend = Callable[[Draw], None]
KINDS: dict[str, Bend] = {}


def kind(name: str) -> Callable[[Bend], Bend]:
    """Register a kind under its name."""

    def register(bend: Bend) -> Bend:
        KINDS[name] = bend
        return bend

    return register


@kind("plain")
def plain(_: Draw) -> None:
    """As drawn."""


@kind("warm-up-and-off")
def warm_up_and_off(draw: Draw) -> None:
    """An hour on, off, sleep, and on again in the morning."""
    lit = draw.rng.uniform(0.0, 600.0)
    off = lit + draw.rng.uniform(2400.0, 4800.0)
    draw.instead(
        Event(lit, "flame", 1.0),
        Event(off, "flame", 0.0),
        Event(draw.when(0.82, 0.93), "flame", 1.0),
    )


@kind("thermostat")
def thermostat(draw: Draw) -> None:
    """On and off, or high and low, by the room's warmth."""
    heater = draw.scene.heater
    share = draw.rng.uniform(1.2, 2.0)
    for name in ("high_kw", "low_kw", "label_kw", "label_low_kw"):
        setattr(heater, name, share * getattr(heater, name))
    heater.thermostat_c = draw.rng.uniform(12.0, 20.0)
    heater.sets_low = draw.rng.random() < 0.4
    draw.instead(Event(draw.rng.uniform(0.0, 900.0), "flame", 1.0))


@kind("door-once")
def door_once(draw: Draw) -> None:
    """Somebody goes out in the night."""
    _open_door(draw, draw.when(0.2, 0.8))


@kind("door-often")
def door_often(draw: Draw) -> None:
    """The door, three to eight times."""
    for _ in range(draw.rng.randint(3, 8)):
        _open_door(draw, draw.when(0.05, 0.95))


def _open_door(draw: Draw, at_s: float) -> None:
    area = draw.rng.uniform(0.3, 1.1)
    events = draw.scene.events
    events.append(Event(at_s, "window", area))
    events.append(Event(at_s + draw.rng.uniform(15.0, 120.0), "window", 0.0))
    draw.scene.openings[2].tall_m = 1.6


@kind("people-leave")
def people_leave(draw: Draw) -> None:
    """Some or all go before the morning; the burner stays as it is."""
    people = draw.scene.people
    left = draw.rng.randrange(len(people))
    draw.scene.events.append(Event(draw.when(0.3, 0.8), "there", float(left)))


@kind("people-come")
def people_come(draw: Draw) -> None:
    """More come than the config says."""
    people = draw.scene.people
    before = float(len(people))
    people += [draw_sleeper(draw.rng) for _ in range(draw.rng.randint(1, 3))]
    draw.scene.events.append(Event(0.0, "there", before))
    draw.scene.events.append(Event(draw.when(0.1, 0.6), "there", float(len(people))))


@kind("steady-wind")
def steady_wind(draw: Draw) -> None:
    """An even wind on the cabin."""
    wind = draw.rng.uniform(2.0, 6.0)
    draw.scene.weather.wind_m_s = [(0.0, wind)]
    draw.scene.weather.gust_share = 0.05


@kind("gusts")
def gusts(draw: Draw) -> None:
    """Gusts of half the mean."""
    draw.scene.weather.wind_m_s = [(0.0, draw.rng.uniform(1.5, 5.0))]
    draw.scene.weather.gust_share = draw.rng.uniform(0.35, 0.6)
    draw.scene.weather.gust_s = log_uniform(draw.rng, 5.0, 90.0)


@kind("wind-turns")
def wind_turns(draw: Draw) -> None:
    """A front: the wind comes up and goes round."""
    weather, at_s = draw.scene.weather, draw.when(0.2, 0.7)
    first = weather.toward[0][1]
    turn = draw.rng.choice((-1.0, 1.0)) * draw.rng.uniform(1.0, math.pi)
    lasts = draw.rng.uniform(600.0, 3600.0)
    weather.toward = [(0.0, first), (at_s, first), (at_s + lasts, first + turn)]
    before, after = draw.rng.uniform(0.0, 3.0), draw.rng.uniform(2.0, 6.0)
    weather.wind_m_s = [(0.0, before), (at_s, before), (at_s + lasts, after)]


@kind("sorbing-walls")
def sorbing_walls(draw: Draw) -> None:
    """Bare plywood and foam: much water, and up to a sixth of the CO2, in walls."""
    shell = draw.scene.shell
    shell.sorbs_kg = 0.1 * shell.wall_m2 * draw.rng.uniform(0.8, 2.0)
    shell.deep_kg = shell.sorbs_kg * draw.rng.uniform(1.0, 4.0)
    shell.co2_share = draw.rng.uniform(0.03, 0.16)
    shell.co2_s = 3600.0 * draw.rng.uniform(0.3, 3.0)


@kind("icing-vent")
def icing_vent(draw: Draw) -> None:
    """Frost narrows the high vent."""
    shift = draw.scene.weather.temp_c[0][1] - draw.rng.uniform(-20.0, -6.0)
    weather = draw.scene.weather
    weather.temp_c = [(at_s, max(-25.0, one - shift)) for at_s, one in weather.temp_c]
    draw.scene.ices_from_s = draw.when(0.05, 0.5)
    draw.scene.ices_tau_s = draw.rng.uniform(1800.0, 9000.0)
    draw.scene.ices_to = draw.rng.uniform(0.05, 0.4)


@kind("label-wrong")
def label_wrong(draw: Draw) -> None:
    """The heater burns a fifth to two fifths more or less than its label says."""
    share = 1.0 + draw.rng.choice((-1.0, 1.0)) * draw.rng.uniform(0.2, 0.4)
    draw.scene.heater.label_kw *= share
    draw.scene.heater.label_low_kw *= share


@kind("one-opening")
def one_opening(draw: Draw) -> None:
    """A window ajar, and nothing else but cracks."""
    scene = draw.scene
    for vent in scene.openings[:2]:
        vent.area_m2 = 0.0
    window = scene.openings[2]
    window.mid_m = draw.rng.uniform(0.4, 0.8) * scene.shell.height_m
    window.tall_m = draw.rng.uniform(0.15, 0.6)
    area = log_uniform(draw.rng, 0.006, 0.06)
    scene.events.append(Event(0.0, "window", area))


@kind("butane")
def butane(draw: Draw) -> None:
    """Butane that the cold starves."""
    kg = draw.rng.uniform(1.0, 6.0)
    share = draw.rng.choice((0.0, 0.3, 1.0))
    draw.scene.cylinder_outside = draw.rng.random() < 0.2
    draw.scene.starts_c = draw.rng.uniform(5.0, 15.0)
    draw.scene.fuel_kg = {"butane": kg * (1.0 - share) + 1e-5, "isobutane": kg * share}
    if share == 0.0:
        draw.scene.fuel_kg = {"butane": kg}


@kind("mix")
def mix(draw: Draw) -> None:
    """Propane and butane: propane boils off first."""
    kg, share = draw.rng.uniform(1.0, 6.0), draw.rng.uniform(0.2, 0.7)
    draw.scene.fuel_kg = {"propane": kg * share, "butane": kg * (1.0 - share)}


@kind("altitude")
def altitude(draw: Draw) -> None:
    """A pass, up to 3,000 m."""
    scene = draw.scene
    before = pressure_at_hpa(scene.altitude_m)
    scene.altitude_m = draw.rng.uniform(1500.0, 3000.0)
    share = pressure_at_hpa(scene.altitude_m) / before
    course = scene.weather.pressure_hpa
    scene.weather.pressure_hpa = [(at_s, share * one) for at_s, one in course]


@kind("awake-long")
def awake_long(draw: Draw) -> None:
    """Up for the first 40 to 90 minutes."""
    sleep = draw.rng.uniform(2400.0, 5400.0)
    draw.instead(Event(0.0, "awake", 1.0), Event(sleep, "awake", 0.0))
    for one in draw.scene.people:
        one.awake_factor = draw.rng.uniform(1.5, 2.4)


@kind("cooking")
def cooking(draw: Draw) -> None:
    """A stove beside the heater, in the evening and perhaps in the morning."""
    times = [draw.rng.uniform(300.0, 3600.0)]
    if draw.rng.random() < 0.5:
        times.append(draw.when(0.9, 0.95))
    for at_s in times:
        kw = draw.rng.uniform(1.0, 2.5)
        draw.scene.events.append(Event(at_s, "stove", kw))
        off = at_s + draw.rng.uniform(480.0, 1500.0)
        draw.scene.events.append(Event(off, "stove", 0.0))


@kind("turned-down")
def turned_down(draw: Draw) -> None:
    """High, then down by steps of the tap."""
    at_s, events, level = draw.rng.uniform(0.0, 600.0), [], 1.0
    for _ in range(draw.rng.randint(2, 4)):
        events.append(Event(at_s, "flame", level))
        at_s += draw.rng.uniform(1200.0, 0.25 * draw.scene.seconds)
        level *= draw.rng.uniform(0.5, 0.8)
    draw.instead(*events)


@kind("co2-end-of-range")
def co2_end_of_range(draw: Draw) -> None:
    """A CO2 part that ends at 5,000 or 10,000 ppm."""
    draw.parts.co2.scale_end = draw.rng.choice((5000.0, 10_000.0))
    draw.parts.tells_end = draw.rng.random() < 0.5


@kind("vents-shut-late")
def vents_shut_late(draw: Draw) -> None:
    """Cold feet: vents shut, or nearly, after some hours."""
    at_s = draw.when(0.15, 0.6)
    for name in ("vent_low", "vent_high"):
        share = draw.rng.choice((0.0, draw.rng.uniform(0.05, 0.4)))
        draw.scene.events.append(Event(at_s, name, share))  # type: ignore[arg-type]


@kind("vents-opened-late")
def vents_opened_late(draw: Draw) -> None:
    """Shut at first; somebody wakes and opens them."""
    at_s = draw.when(0.15, 0.6)
    for name in ("vent_low", "vent_high"):
        share = draw.rng.uniform(0.0, 0.3)
        draw.scene.events.append(Event(0.0, name, share))  # type: ignore[arg-type]
        draw.scene.events.append(Event(at_s, name, 1.0))  # type: ignore[arg-type]


@kind("leaky-hut")
def leaky_hut(draw: Draw) -> None:
    """Gaps everywhere, vents small."""
    per_h = draw.rng.uniform(2.0, 8.0)
    draw.scene.cracks = draw_cracks(draw.rng, draw.scene.shell, per_h)
    for vent in draw.scene.openings[:2]:
        vent.area_m2 *= draw.rng.uniform(0.1, 0.6)


@kind("tight-boat")
def tight_boat(draw: Draw) -> None:
    """Hardly a crack; the vents are all."""
    per_h = log_uniform(draw.rng, 0.02, 0.1)
    draw.scene.cracks = draw_cracks(draw.rng, draw.scene.shell, per_h)
    draw.scene.shell.skin_m2 = draw.rng.uniform(0.5, 3.0)


@kind("stratified")
def stratified(draw: Draw) -> None:
    """Two layers, the parts perhaps not at the height of the bunk."""
    shell = draw.scene.shell
    shell.layers = 2
    shell.mixing_m3_s = log_uniform(draw.rng, 0.01, 0.06)
    shell.layer_k = draw.rng.uniform(0.5, 4.0)
    draw.places.bunk = draw.rng.choice((0.0, 1.0, 0.5))
    draw.places.parts = draw.rng.choice((draw.places.bunk, draw.rng.random()))


@kind("slow-sensor")
def slow_sensor(draw: Draw) -> None:
    """Behind a filter or in a closed box."""
    draw.parts.co2.lag_s = draw.rng.uniform(120.0, 300.0)
    draw.parts.o2.lag_s = draw.rng.uniform(60.0, 180.0)
    draw.parts.rh.lag_s = draw.rng.uniform(60.0, 300.0)


@kind("growing-noise")
def growing_noise(draw: Draw) -> None:
    """CO2 noise of 8 to 18 ppm and 0.4 % of the reading or more."""
    draw.parts.co2.noise_share = draw.rng.uniform(0.004, 0.01)


@kind("lost-readings")
def lost_readings(draw: Draw) -> None:
    """One in ten lost, and the CO2 part away for a while."""
    draw.parts.lost_share = draw.rng.uniform(0.03, 0.2)
    for _ in range(draw.rng.randint(0, 2)):
        at_s = draw.when(0.1, 0.8)
        draw.parts.holes.append((at_s, at_s + draw.rng.uniform(300.0, 2700.0)))


@kind("pressure-weather")
def pressure_weather(draw: Draw) -> None:
    """A low comes or goes: 1 to 4 hPa an hour."""
    weather, seconds = draw.scene.weather, draw.scene.seconds
    base, course = weather.pressure_hpa[0][1], [(0.0, 0.0)]
    per_h = draw.rng.choice((-1.0, 1.0)) * draw.rng.uniform(1.0, 4.0)
    for i in range(1, 7):
        bend = per_h * math.sin(draw.rng.uniform(0.3, 1.2) * i)
        course.append((seconds * i / 6.0, course[-1][1] + bend * seconds / 21600.0))
    weather.pressure_hpa = [(at_s, base + one) for at_s, one in course]
