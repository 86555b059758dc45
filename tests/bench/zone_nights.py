"""The benchmark's nights in the rehearsal's own air: `cabinvigil.daemon.air.zone`.

What is drawn, and how the parts read, is as in `nights`; the air is the product's own
model, with heat, walls that sweat and moles that are made.  The other generator knows
none of this and stays beside it, since nobody should be judged by his own model alone.
"""

import itertools
import math
import random
from dataclasses import dataclass

from cabinvigil.daemon.air.atmosphere import OutsideAir, pressure_hpa
from cabinvigil.daemon.air.breathing import Person, together
from cabinvigil.daemon.air.readings import co2_ppm, o2_pct, rh_pct
from cabinvigil.daemon.air.zone import (
    Inputs,
    Surface,
    Zone,
    ZoneState,
    air_changes_per_h,
    outdoor_state,
    step,
)
from tests.bench.nights import (
    DT_S,
    HOURS,
    LIMIT_PCT,
    Cabin,
    Night,
    Sensors,
    draw_cabin,
    draw_schedule,
    draw_sensors,
    note_readings,
)

AHEAD_S = 3000.0
"""How far beyond the next change a stretch is followed, for the observer."""
ICE_STRETCH_S = 300.0
"""While ice grows, ventilation is held this long at a time."""
SETTLED_S = 6 * 3600.0
"""A stretch followed this long without change has settled."""
COARSE_S = 60.0


@dataclass
class Stretch:
    """A time in which nothing changes."""

    from_s: float
    to_s: float
    inputs: Inputs


def draw_zone(rng: random.Random, cabin: Cabin, kind: str) -> Zone:
    """Draw the walls, and how high the cabin is parked."""
    rise_k = rng.uniform(18.0, 45.0)
    wall_w_k = max(10.0, 920.0 * cabin.kw / rise_k)  # LHV is 0.92 of HHV
    area_m2 = 5.5 * cabin.volume_m3 ** (2.0 / 3.0)
    glass_m2 = rng.uniform(0.3, 2.0)
    rest = max(0.3, (wall_w_k - 2.9 * glass_m2) / area_m2)
    return Zone(
        volume_m3=cabin.volume_m3,
        wall_w_k=wall_w_k,
        heat_capacity_j_k=rng.uniform(15e3, 30e3) * cabin.volume_m3,
        pressure_hpa=pressure_hpa(
            rng.uniform(0.0, 2400.0 if kind == "altitude" else 800.0)
        ),
        surfaces=(Surface(glass_m2, 2.9), Surface(area_m2, rest)),
    )


def draw_stretches(
    rng: random.Random, kind: str, cabin: Cabin, outside: OutsideAir
) -> list[Stretch]:
    """Draw the night as stretches of constant inputs."""
    end_s = HOURS * 3600.0
    rows = draw_schedule(rng, kind, end_s, cabin.kw, cabin.per_h)
    icing_s = rng.uniform(3600.0, 14400.0) if kind == "icing" else 0.0
    icing_from_s = rng.uniform(1200.0, 9000.0)
    edges = {0.0, end_s, *(row[0] for row in rows)}
    if icing_s:
        count = math.ceil((end_s - icing_from_s) / ICE_STRETCH_S)
        edges |= {icing_from_s + i * ICE_STRETCH_S for i in range(count)}
    # Changes fall on ticks here: the zone's step is the sensors' own.
    ticks = sorted({round(at / DT_S) * DT_S for at in edges if at <= end_s})
    kw, per_h, people = 0.0, cabin.per_h, cabin.people
    stretches = []
    for start, end in itertools.pairwise(ticks):
        while rows and rows[0][0] <= start + 0.5 * DT_S:
            _, new_kw, new_per_h, new_people = rows.pop(0)
            kw = kw if new_kw is None else new_kw
            per_h = per_h if new_per_h is None else new_per_h
            people = people if new_people is None else new_people
        shut = 1.0
        if icing_s and start >= icing_from_s:
            shut = math.exp(-2.0 * (start - icing_from_s) / icing_s)
        air_m3_s = max(per_h * shut, 0.144) / 3600.0 * cabin.volume_m3
        inputs = Inputs(outside, air_m3_s, kw, people=together(people, Person()))
        stretches.append(Stretch(start, end, inputs))
    return stretches


@dataclass(frozen=True)
class Ahead:
    """What a stretch would come to, if nothing changed any more."""

    crossing_s: float | None
    settles_pct: float


def look_ahead(zone: Zone, state: ZoneState, at_s: float, inputs: Inputs) -> Ahead:
    """Follow a stretch beyond its end: by ticks at first, then by minutes."""
    crossing = at_s if o2_pct(state) <= LIMIT_PCT else None
    t = at_s
    while t < at_s + SETTLED_S:
        dt_s = DT_S if t < at_s + AHEAD_S else COARSE_S
        before = o2_pct(state)
        state = step(zone, state, inputs, dt_s)
        t += dt_s
        now = o2_pct(state)
        if crossing is None and now <= LIMIT_PCT:
            crossing = t - dt_s * (LIMIT_PCT - now) / (before - now)
        if t > at_s + AHEAD_S and abs(now - before) < 2e-5:
            break
    return Ahead(crossing, o2_pct(state))


def live(
    night: Night, zone: Zone, stretches: list[Stretch], parts: Sensors, cabin: Cabin
) -> None:
    """Live the night: truth at every tick, and what the parts give for it."""
    rng = random.Random(f"read/{night.kind}/{night.seed}")
    state = outdoor_state(zone, stretches[0].inputs.outside, rng.uniform(8.0, 18.0))
    o2_lagged, ppm_lagged = o2_pct(state), co2_ppm(state)
    f_o2 = math.exp(-DT_S / parts.o2_lag_s)
    f_co2 = math.exp(-DT_S / parts.co2_lag_s)
    for stretch in stretches:
        ahead = look_ahead(zone, state, stretch.from_s, stretch.inputs)
        count = round((stretch.to_s - stretch.from_s) / DT_S)
        for i in range(count):
            t = stretch.from_s + i * DT_S
            o2 = o2_pct(state)
            night.time_s.append(t)
            night.o2_pct.append(o2)
            night.co2_ppm.append(co2_ppm(state))
            k = air_changes_per_h(zone, state.temp_c, stretch.inputs) / 3600.0
            night.k_per_s.append(k)
            night.burn_kw.append(stretch.inputs.burner_kw_hhv)
            night.settles_pct.append(ahead.settles_pct)
            known = 0.0 if o2 <= LIMIT_PCT else None
            if known is None and ahead.crossing_s is not None:
                known = max(0.0, ahead.crossing_s - t)
            night.known_s.append(known)
            seen = cabin.floor_ppm + parts.co2_gain * (ppm_lagged - cabin.floor_ppm)
            note_readings(night, rng, parts, o2_lagged, seen)
            night.temp_seen.append(round(state.temp_c + rng.gauss(0.0, 0.05), 2))
            night.rh_seen.append(
                round(min(100.0, rh_pct(zone, state)) + rng.gauss(0.0, 0.3), 1)
            )
            state = step(zone, state, stretch.inputs, DT_S)
            o2_lagged += (1.0 - f_o2) * (o2_pct(state) - o2_lagged)
            ppm_lagged += (1.0 - f_co2) * (co2_ppm(state) - ppm_lagged)


def make_zone_night(seed: int, kind: str = "plain", coarse: bool = False) -> Night:
    """Draw one night in the zone's air; the same seed gives the same night."""
    rng = random.Random(f"zone/{kind}/{seed}")
    parts = draw_sensors(rng, kind, coarse)
    cabin = draw_cabin(rng, kind)
    zone = draw_zone(rng, cabin, kind)
    cabin.floor_ppm = rng.uniform(410.0, 460.0)
    outside = OutsideAir(
        rng.uniform(-20.0, 8.0), rng.uniform(60.0, 95.0), cabin.floor_ppm
    )
    night = Night(seed, kind, volume_m3=cabin.volume_m3)
    stretches = draw_stretches(rng, kind, cabin, outside)
    night.changes = [s.from_s for s in stretches[1:]]
    if stretches[0].inputs.burner_kw_hhv:
        night.changes.insert(0, 0.0)
    live(night, zone, stretches, parts, cabin)
    return night
