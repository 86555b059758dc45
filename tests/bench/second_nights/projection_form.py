"""A night as the projection's benchmark takes it, with the observer's knowledge.

The observer knows source and ventilation as they are, and not the future: both are
frozen, and so are the walls and the difference of temperatures, and the balance of
moles is integrated forward.  Of a thermostat he knows the mean of the last quarter of
an hour, of gusts that of the last minutes, since a change at the least.
"""

import math
import random
from dataclasses import dataclass

from tests.bench.nights import LIMIT_PCT, Sensors
from tests.bench.nights import Night as BenchNight
from tests.bench.second_nights.cabin import CO, CO2, DRY_O2, FILM_M_S, H2O, O2
from tests.bench.second_nights.live import TICK_S, Moment, Night
from tests.bench.second_nights.night import prepare
from tests.bench.second_nights.openings import R
from tests.bench.second_nights.sensors import Parts

HOURS = 5.0
GUSTS_S = 120.0
"""Memory of the observer for the air that moves ..."""
DUTY_S = 900.0
"""... and for a thermostat's duty."""
JUMPS = ("flame", "vent_low", "vent_high", "window", "there", "stove")
LOOKS_S = tuple(30.0 * 1.25**i for i in range(36))
"""Moments ahead at which the limit is looked for; the last is after 20 h."""


@dataclass
class Frozen:
    """The law of the air if nothing changes: two exponentials."""

    dry: float
    dry_ends: float
    dry_per_s: float
    wet: float
    wet_ends: float
    wet_per_s: float

    def o2_pct(self, s: float) -> float:
        """Give O2 as breathed so long from now."""
        dry = self.dry - self.dry_ends
        wet = self.wet - self.wet_ends
        dry = self.dry_ends + dry * math.exp(-self.dry_per_s * s)
        wet = self.wet_ends + wet * math.exp(-self.wet_per_s * s)
        return 100.0 * dry * (1.0 - wet)

    @property
    def settles_pct(self) -> float:
        """Give the level that it ends at."""
        return 100.0 * self.dry_ends * (1.0 - self.wet_ends)

    def reaches_s(self, limit_pct: float) -> float | None:
        """Give the time to a limit; None: not within 20 h."""
        if self.o2_pct(0.0) <= limit_pct:
            return 0.0
        low = 0.0
        for high in LOOKS_S:
            if self.o2_pct(high) <= limit_pct:
                break
            low = high
        else:
            return None
        for _ in range(14):
            middle = 0.5 * (low + high)
            if self.o2_pct(middle) <= limit_pct:
                high = middle
            else:
                low = middle
        return high


def freeze(life: Night, came_mol_s: float, made: list[float]) -> Frozen:
    """Freeze the present.

    Args:
        life: the cabin as it is.
        came_mol_s: outdoor air that comes in.
        made: gas made a second, in the order of the cabin's.
    """
    cabin, out, shell = life.cabin, life.out, life.scene.shell
    n, mixed = cabin.moles, cabin.shares_at(0.5)
    here = cabin.shares_at(life.places.bunk)
    fresh = came_mol_s * (1.0 - out.shares[H2O])
    dry_made = made[O2] + made[CO2] + made[CO]
    leaves = max(fresh + dry_made, 1e-9)
    ends = (fresh * DRY_O2 + made[O2]) / leaves
    # where layers differ, they go on to differ
    dry_here = here[O2] / (1.0 - here[H2O])
    ends += dry_here - mixed[O2] / (1.0 - mixed[H2O])
    area = shell.sorb_m_s * shell.wall_m2
    if cabin.film_mol_s != 0.0:
        area += FILM_M_S * (shell.glass_m2 + shell.skin_m2)
    takes = area * out.pa / (R * (cabin.air_c + 273.15))
    # the walls' flow is proportional to what the air has above them
    held = takes * mixed[H2O] - cabin.to_walls_mol_s
    through = came_mol_s + dry_made + made[H2O] + takes
    wet_ends = (came_mol_s * out.shares[H2O] + made[H2O] + held) / max(through, 1e-9)
    full = 611.2 * math.exp(17.62 * cabin.air_c / (243.12 + cabin.air_c)) / out.pa
    return Frozen(
        dry_here,
        ends,
        leaves / (n * (1.0 - mixed[H2O])),
        here[H2O],
        min(max(wet_ends, 0.0), max(full, here[H2O])),
        through / n,
    )


class Observer:
    """Remembers gusts and duty since the last change."""

    def __init__(self, life: Night) -> None:
        self.life = life
        self.came: float | None = None
        self.made: list[float] | None = None

    def changed(self) -> None:
        """Forget what was before a change."""
        self.came = self.made = None

    def sees(self, moment: Moment) -> tuple[Frozen, float]:
        """Give the frozen law and the air moved, mol/s."""
        life = self.life
        now = moment.changes_per_h / 3600.0 * life.cabin.moles
        made = [math.fsum(one) for one in zip(*life.sources.by_layer, strict=True)]
        if self.came is None or self.made is None:
            self.came, self.made = now, made
        else:
            self.came += (now - self.came) * TICK_S / GUSTS_S
            if life.scene.heater.thermostat_c is not None:
                made = [
                    old + (new - old) * TICK_S / DUTY_S
                    for old, new in zip(self.made, made, strict=True)
                ]
            self.made = made
        return freeze(life, self.came, made), self.came


def _sensors(parts: Parts) -> Sensors:
    return Sensors(
        o2_noise_pct=parts.o2.noise,
        o2_step_pct=parts.o2.step,
        o2_lag_s=parts.o2.lag_s,
        o2_bias_pct=parts.o2.offset + 20.9 * (parts.o2.gain - 1.0),
        o2_drift_pct_per_h=parts.o2.drift_per_h,
        co2_noise_ppm=parts.co2.noise,
        co2_step_ppm=parts.co2.step,
        co2_lag_s=parts.co2.lag_s,
        co2_gain=parts.co2.gain,
        lost_share=parts.lost_share,
    )


def make_second_night(
    seed: int, kind: str = "plain", coarse: bool = False
) -> BenchNight:
    """Live a night of five hours.

    Args:
        seed: of all chance.
        kind: "plain" goes through all kinds as seeds go on; else one of theirs.
        coarse: O2 in steps of 0.1 %, CO2 of 50 ppm.
    """
    draw = prepare(seed, None if kind == "plain" else kind, HOURS, wide=True)
    parts, rng = draw.parts, random.Random(f"read {seed}")
    if coarse:
        parts.o2.step, parts.co2.step = 0.1, 50.0
    life = Night(draw.scene, seed, draw.places)
    observer, sees_damp = Observer(life), rng.random() < 0.7
    night = BenchNight(seed, draw.scene.kind)
    night.volume_m3 = draw.scene.shell.volume_m3
    night.floor_ppm = draw.scene.weather.co2_ppm
    night.parts = _sensors(parts)
    jumps = sorted({one.at_s for one in draw.scene.events if one.what in JUMPS})
    was_out, waits = False, list(jumps)
    for moment in life.moments():
        begins_s = moment.at_s - TICK_S
        if life.is_out and not was_out:
            was_out = True
            night.changes.append(begins_s)
            observer.changed()
        if waits and waits[0] <= begins_s:
            night.changes.append(begins_s)
            observer.changed()
            waits = [one for one in waits if one > begins_s]
        law, came = observer.sees(moment)
        _note(night, moment, law, came / life.cabin.moles)
        _read(night, parts.read(rng, moment), sees_damp)
    return night


def _note(night: BenchNight, moment: Moment, law: Frozen, per_s: float) -> None:
    night.time_s.append(moment.at_s)
    night.o2_pct.append(moment.o2_pct)
    night.co2_ppm.append(moment.co2_ppm)
    night.burn_kw.append(moment.burn_kw)
    night.k_per_s.append(per_s)
    night.settles_pct.append(law.settles_pct)
    night.known_s.append(law.reaches_s(LIMIT_PCT))


def _read(night: BenchNight, row: dict[str, float], sees_damp: bool) -> None:
    night.o2_seen.append(row.get("o2_pct"))
    night.co2_seen.append(row.get("co2_ppm"))
    if sees_damp:  # where one is lost, the last one stands
        for seen, key in ((night.temp_seen, "temp_c"), (night.rh_seen, "rh_pct")):
            seen.append(row.get(key, seen[-1] if seen else 15.0))
