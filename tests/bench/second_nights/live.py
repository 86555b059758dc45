"""Lives one scene: who does what, what burns, what moves, and what was true."""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from tests.bench.second_nights import cabin as air
from tests.bench.second_nights.cabin import Cabin, Outdoors, Sources, outdoor_shares
from tests.bench.second_nights.chemistry import (
    H2O_KG,
    Cylinder,
    Flame,
    burn,
    hhv_kj_mol,
    kg_mol,
)
from tests.bench.second_nights.openings import Envelope, Flow
from tests.bench.second_nights.scene import Scene, at

TICK_S = 10.0
STEP_S = 2.0
SEA_PA = 101_325.0
POT_SHARE = 0.12
"""Of a stove's heat, what boils water off (own judgement)."""
POT_KJ_KG = 2260.0
SWINGS_K = 0.7
"""A thermostat's half swing."""


class Moment(NamedTuple):
    """What was true, every ten seconds, at the end of them."""

    at_s: float
    changes_per_h: float
    """Outdoor air that came in the ten seconds, in moles, over the moles inside."""
    burn_kw: float
    """Fuel power of heater and stove, higher heating value."""
    o2_pct: float
    """As breathed at the bunk: a share of the moist air."""
    o2_dry_pct: float
    co2_ppm: float
    co_ppm: float
    temp_c: float
    rh_pct: float
    """Over water; above 100 never."""
    gas_kg: float
    """Burnt so far, heater and stove."""
    water_made_kg: float
    """Of flames, people and pots so far."""
    water_left_kg: float
    """On panes and metal and in walls, since the begin."""
    low_cm2: float
    high_cm2: float
    window_cm2: float
    people: int
    glass_c: float
    outside_c: float
    pressure_hpa: float
    wind_m_s: float
    seen: tuple[float, float, float, float, float]
    """O2 %, CO2 ppm, CO ppm, C and % humidity where the parts are."""


@dataclass
class Places:
    """Height of bunk and parts: 0 in the lower half, 1 in the upper."""

    bunk: float = 0.0
    parts: float = 0.0


class Night:
    """One scene, lived."""

    def __init__(self, scene: Scene, seed: int, places: Places | None = None) -> None:
        self.scene = scene
        self.places = places or Places()
        self.rng = random.Random(f"live {seed}")
        self.openings = {one.name: one for one in scene.openings}
        self.areas = {one.name: one.area_m2 for one in scene.openings}
        self.shares = {"vent_low": 1.0, "vent_high": 1.0}
        self.envelope = Envelope(
            scene.openings, scene.cracks, 0.5 * scene.shell.height_m
        )
        self.out = self._outdoors(0.0)
        begins_c = self.out.temp_c + scene.starts_c
        self.cabin = Cabin(
            scene.shell, self.out, begins_c, scene.starts_rh_pct, scene.starts_co2_ppm
        )
        around_c = self.out.temp_c if scene.cylinder_outside else begins_c
        self.cylinder = Cylinder(dict(scene.fuel_kg), around_c, 2.5)
        self.level = self.stove_kw = self.window_m2 = 0.0
        self.there, self.awake = len(scene.people), False
        self.calls_heat, self.is_out = True, False
        self.gas_kg = self.made_kg = self.burn_kw = self.gust = 0.0
        self.flames: list[Flame] = []
        self.sources = Sources([[0.0] * 5 for _ in self.cabin.layers], 0.0, 0.0)
        self.flow = Flow()

    def _outdoors(self, at_s: float) -> Outdoors:
        weather = self.scene.weather
        pa = 100.0 * at(weather.pressure_hpa, at_s)
        temp_c = at(weather.temp_c, at_s)
        shares = outdoor_shares(pa, temp_c, weather.rh_pct, weather.co2_ppm)
        return Outdoors(pa, temp_c, shares)

    def moments(self) -> Iterator[Moment]:
        """Live it."""
        events = sorted(self.scene.events)
        count = round(self.scene.seconds / TICK_S)
        for i in range(count):
            at_s = i * TICK_S
            while events and events[0].at_s <= at_s:
                event = events.pop(0)
                self._happens(event.what, event.value)
            self.out = self._outdoors(at_s)
            self._open(at_s)
            self._make()
            came = self._ten_seconds(at_s)
            yield self._moment(at_s + TICK_S, came)

    def _happens(self, what: str, value: float) -> None:
        if what == "flame":
            self.level = value
        elif what in self.shares:
            self.shares[what] = value
        elif what == "window":
            self.window_m2 = value
        elif what == "there":
            self.there = round(value)
        elif what == "awake":
            self.awake = value > 0.0
        else:
            self.stove_kw = value

    def _open(self, at_s: float) -> None:
        """Set the areas; ice narrows the high vent, out of which damp air goes."""
        scene = self.scene
        for name, share in self.shares.items():
            if name in self.openings:
                self.openings[name].area_m2 = self.areas[name] * share
        if "window" in self.openings:
            self.openings["window"].area_m2 = self.window_m2
        ices = scene.ices_from_s
        if ices is not None and at_s > ices and "vent_high" in self.openings:
            left = math.exp(-(at_s - ices) / scene.ices_tau_s)
            left = scene.ices_to + (1.0 - scene.ices_to) * left
            self.openings["vent_high"].area_m2 *= left

    def _power_kw(self, o2_dry_pct: float) -> float:
        """Give what the heater burns, were its gas to come freely."""
        heater, temp_c = self.scene.heater, self.cabin.air_c
        if heater.thermostat_c is not None:
            if temp_c > heater.thermostat_c + SWINGS_K:
                self.calls_heat = False
            elif temp_c < heater.thermostat_c - SWINGS_K:
                self.calls_heat = True
        kw = self.level * heater.high_kw
        if self.level > 0.0 and not self.calls_heat:
            kw = heater.low_kw if heater.sets_low else 0.0
        if heater.cuts_out_pct > 0.0 and o2_dry_pct < heater.cuts_out_pct:
            self.is_out = True
        if self.is_out:
            return 0.0
        fade = 1.0 - heater.fades_pct / 100.0 * max(0.0, 20.95 - o2_dry_pct)
        return kw * max(0.2, fade)

    def _make(self) -> None:
        """Set the sources of the next ten seconds."""
        scene, out, cabin = self.scene, self.out, self.cabin
        mixed = cabin.shares_at(0.5)
        dry = 100.0 * mixed[air.O2] / (1.0 - mixed[air.H2O])
        gas, pressure = self.cylinder.vapour()
        # a jet at a fixed pressure before it passes gas as the root of its density
        comes = self.cylinder.open_share(pressure - out.pa / 100.0)
        comes *= math.sqrt(out.pa / SEA_PA)
        heater_kw = self._power_kw(dry) * comes
        stove_kw = self.stove_kw * comes
        each_kj = hhv_kj_mol(gas)
        co_share = scene.heater.co_share * (1.0 + 1.5 * max(0.0, 20.0 - dry))
        heater = burn(gas, heater_kw / each_kj, co_share)
        stove = burn(gas, stove_kw / each_kj, 0.001)
        self.flames = [heater, stove]
        fuel = heater.fuel + stove.fuel
        around_c = out.temp_c if scene.cylinder_outside else cabin.air_c
        self.cylinder.draw(gas, fuel, TICK_S, around_c)
        self.gas_kg += fuel * kg_mol(gas) * TICK_S
        self.burn_kw = heater_kw + stove_kw
        pot_kw = POT_SHARE * stove.heat_kw
        flames = [0.0] * 5
        for flame in self.flames:
            flames[air.O2] -= flame.o2
            flames[air.CO2] += flame.co2
            flames[air.CO] += flame.co
            flames[air.H2O] += flame.h2o
        flames[air.H2O] += pot_kw / POT_KJ_KG / H2O_KG
        people, people_kw = self._people()
        self.made_kg += TICK_S * H2O_KG * (flames[air.H2O] + people[air.H2O])
        if len(cabin.layers) == 1:
            layers = [[a + b for a, b in zip(flames, people, strict=True)]]
        else:  # a flame draws from below and gives to the upper half; bodies give to
            # the half that they lie in
            upper = [max(0.0, one) for one in flames]
            lower = [min(0.0, one) for one in flames]
            by = self.places.bunk
            layers = [
                [a + (1.0 - by) * b for a, b in zip(lower, people, strict=True)],
                [a + by * b for a, b in zip(upper, people, strict=True)],
            ]
        radiant = scene.heater.radiant * heater.heat_kw
        warm = heater.heat_kw - radiant + stove.heat_kw - pot_kw + people_kw
        self.sources = Sources(layers, warm, radiant)

    def _people(self) -> tuple[list[float], float]:
        made, kw = [0.0] * 5, 0.0
        for one in self.scene.people[: self.there]:
            more = one.awake_factor if self.awake else 1.0
            # 22.4 L a mole: rates are told at 0 C, dry
            o2 = more * one.asleep_ml_kg_min * one.kg / 22.4e3 / 60.0
            made[air.O2] -= o2
            made[air.CO2] += one.rq * o2
            made[air.H2O] += more * one.water_g_h / 3.6e6 / H2O_KG
            kw += o2 * 450.0 * 0.7  # 450 kJ a mole of O2, three tenths by water
        return made, kw

    def _ten_seconds(self, at_s: float) -> float:
        """Live five steps; return the mean inflow, mol/s."""
        weather, cabin, out = self.scene.weather, self.cabin, self.out
        wind, toward = at(weather.wind_m_s, at_s), at(weather.toward, at_s)
        is_gusty = weather.gust_share > 0.0 and wind > 0.2
        keeps = math.exp(-STEP_S / weather.gust_s)
        came = 0.0
        for i in range(round(TICK_S / STEP_S)):
            if is_gusty:
                fresh = math.sqrt(1.0 - keeps * keeps) * self.rng.gauss(0.0, 1.0)
                self.gust = keeps * self.gust + fresh
            if is_gusty or i == 0:
                now = max(0.0, wind * (1.0 + weather.gust_share * self.gust))
                self.flow = self.envelope.flow(
                    out.pa, cabin.air_c, out.temp_c, now, toward
                )
            cabin.step(self.sources, out, self.flow, STEP_S)
            came += self.flow.in_mol_s
        return came * STEP_S / TICK_S

    def _moment(self, at_s: float, came_mol_s: float) -> Moment:
        cabin, out, shell = self.cabin, self.out, self.scene.shell
        bunk = self._felt(self.places.bunk)
        seen = bunk
        if self.places.parts != self.places.bunk:
            seen = self._felt(self.places.parts)
        shares = cabin.shares_at(self.places.bunk)

        def cm2(name: str) -> float:
            return 1e4 * self.openings[name].area_m2 if name in self.openings else 0.0

        return Moment(
            at_s,
            3600.0 * came_mol_s / cabin.moles,
            self.burn_kw,
            bunk[0],
            100.0 * shares[air.O2] / (1.0 - shares[air.H2O]),
            bunk[1],
            bunk[2],
            bunk[3],
            bunk[4],
            self.gas_kg,
            self.made_kg,
            cabin.water_left_kg,
            cm2("vent_low"),
            cm2("vent_high"),
            cm2("window"),
            self.there,
            cabin.surface_c(shell.glass_u, out.temp_c),
            out.temp_c,
            out.pa / 100.0,
            at(self.scene.weather.wind_m_s, at_s),
            seen,
        )

    def _felt(self, upper: float) -> tuple[float, float, float, float, float]:
        """Give what a place feels."""
        cabin = self.cabin
        shares = cabin.shares_at(upper)
        temp_c = cabin.air_c
        if self.burn_kw > 0.0:
            temp_c += (2.0 * upper - 1.0) * self.scene.shell.layer_k
        full = 611.2 * math.exp(17.62 * temp_c / (243.12 + temp_c))
        rh = min(100.0, 100.0 * shares[air.H2O] * self.out.pa / full)
        return (
            100.0 * shares[air.O2],
            1e6 * shares[air.CO2],
            1e6 * shares[air.CO],
            temp_c,
            rh,
        )
