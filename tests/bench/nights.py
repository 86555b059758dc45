"""Nights drawn at random for the projection's benchmark: air, sensors and truth.

One generator, written apart from `cabinvigil.daemon.air` and in another form: linear
excesses over outdoor air instead of mole counts, exact between changes.  What is drawn
is wide on purpose: an estimator that knows these ranges knows next to nothing.
"""

import math
import random
from dataclasses import dataclass, field

DT_S = 10.0
HOURS = 5.0
LIMIT_PCT = 19.5
DRY_O2_PCT = 20.95
MOL_PER_M3 = 41.6
"""Ideal gas at 1013.25 hPa and 20 C."""
PROPANE_KJ_PER_MOL = 2219.2
"""Higher heating value, ISO 6976 (check values, section 4)."""
BREATH_CO2_MOL_PER_S = 11.0 / 22.4 / 3600.0
"""11 L/h of CO2 from a sleeper: Fan et al., Indoor Air 31 (2021) 2142."""

KINDS = ("plain", "hard", "thermostat", "icing", "people", "dropouts", "altitude")


@dataclass(frozen=True)
class Sensors:
    """How the two parts read."""

    o2_noise_pct: float
    o2_step_pct: float
    o2_lag_s: float
    o2_bias_pct: float
    o2_drift_pct_per_h: float
    co2_noise_ppm: float
    co2_step_ppm: float
    co2_lag_s: float
    co2_gain: float
    lost_share: float = 0.0
    wild_share: float = 0.0


@dataclass
class Night:
    """What the sensors gave and what was true, one entry a tick."""

    seed: int
    kind: str
    time_s: list[float] = field(default_factory=list)
    o2_seen: list[float | None] = field(default_factory=list)
    co2_seen: list[float | None] = field(default_factory=list)
    o2_pct: list[float] = field(default_factory=list)
    co2_ppm: list[float] = field(default_factory=list)
    k_per_s: list[float] = field(default_factory=list)
    settles_pct: list[float] = field(default_factory=list)
    """Level to which O2 tends if nothing changes, at each tick."""
    burn_kw: list[float] = field(default_factory=list)
    known_s: list[float | None] = field(default_factory=list)
    """Time to the limit by the observer's knowledge; None: never."""
    volume_m3: float = 0.0
    changes: list[float] = field(default_factory=list)
    """Moments at which source or ventilation jumps."""

    def crossing_s(self) -> float | None:
        """Give the first moment at which true O2 is at or below the limit."""
        for t, o2 in zip(self.time_s, self.o2_pct, strict=True):
            if o2 <= LIMIT_PCT:
                return t
        return None

    def lowest(self) -> float:
        """Give the lowest true O2 of the night."""
        return min(self.o2_pct)


def draw_sensors(rng: random.Random, kind: str, coarse: bool) -> Sensors:
    """Draw parts between the good and the poor of the trade."""
    return Sensors(
        o2_noise_pct=math.exp(rng.uniform(math.log(0.01), math.log(0.05))),
        o2_step_pct=0.1 if coarse else 0.01,
        o2_lag_s=rng.uniform(5.0, 30.0),
        o2_bias_pct=rng.gauss(0.0, 0.02),
        o2_drift_pct_per_h=rng.gauss(0.0, 0.005),
        co2_noise_ppm=math.exp(rng.uniform(math.log(5.0), math.log(25.0))),
        co2_step_ppm=50.0 if coarse else 1.0,
        co2_lag_s=rng.uniform(10.0, 70.0),
        co2_gain=rng.gauss(1.0, 0.03),
        lost_share=0.1 if kind == "dropouts" else 0.0,
        wild_share=0.002 if kind == "dropouts" else 0.0,
    )


def draw_schedule(
    rng: random.Random, kind: str, end_s: float, kw: float, per_h: float
) -> list[tuple[float, float | None, float | None, int | None]]:
    """Draw changes: (moment, new kW, new air changes an hour, new sleepers)."""
    lit_s = rng.uniform(0.0, 2400.0) if rng.random() < 0.8 else 0.0
    rows: list[tuple[float, float | None, float | None, int | None]] = [
        (lit_s, kw, None, None)
    ]
    t = lit_s
    if kind == "thermostat":
        on_s, off_s = rng.uniform(300.0, 1800.0), rng.uniform(300.0, 1800.0)
        while t < end_s:
            rows.append((t + on_s, kw * rng.choice((0.0, 0.0, 0.4)), None, None))
            t += on_s + off_s * rng.uniform(0.7, 1.3)
            rows.append((t, kw, None, None))
    elif kind == "people":
        rows.extend(
            (rng.uniform(0.0, end_s), None, None, rng.randint(0, 4))
            for _ in range(rng.randint(1, 4))
        )
    elif kind != "icing" and rng.random() < 0.4:
        for _ in range(rng.choice((1, 1, 1, 2))):
            at_s = rng.uniform(lit_s + 1800.0, end_s)
            if rng.random() < 0.5:
                rows.append((at_s, kw * rng.choice((0.0, 0.5, 0.7, 1.5)), None, None))
            else:
                factor = math.exp(rng.uniform(math.log(0.1), math.log(6.0)))
                rows.append((at_s, None, per_h * factor, None))
    return sorted(rows, key=lambda row: row[0])


def _minutes_known(
    o2_dry_gap: float, sink: float, k: float, w: float, w_end: float, k_w: float
) -> float | None:
    """Solve for the observer: seconds until wet O2 meets the limit, or None."""

    def wet(s: float) -> float:
        decay = math.exp(-k * s)
        gap = sink / k + (o2_dry_gap - sink / k) * decay
        vapour = w_end + (w - w_end) * math.exp(-k_w * s)
        return (DRY_O2_PCT - gap) * (1.0 - vapour)

    if wet(0.0) <= LIMIT_PCT:
        return 0.0
    before = 0.0
    for s in (60.0, 180.0, 360.0, 600.0, 900.0, 1260.0, 1800.0, 3600.0, 7200.0, 3e4):
        if wet(s) <= LIMIT_PCT:
            low, high = before, s
            for _ in range(12):
                mid = 0.5 * (low + high)
                low, high = (low, mid) if wet(mid) <= LIMIT_PCT else (mid, high)
            return high
        before = s
    return None


def _read(
    rng: random.Random, value: float, noise: float, step: float, s: Sensors, wild: float
) -> float | None:
    if rng.random() < s.lost_share:
        return None
    if rng.random() < s.wild_share:
        return wild
    return round((value + rng.gauss(0.0, noise)) / step) * step


def make_night(seed: int, kind: str = "plain", coarse: bool = False) -> Night:
    """Draw one night; the same seed gives the same night."""
    rng = random.Random(f"{kind}/{seed}")
    sensors = draw_sensors(rng, kind, coarse)
    volume = rng.uniform(4.0, 14.0)
    moles = (
        volume * MOL_PER_M3 * (rng.uniform(0.75, 1.0) if kind == "altitude" else 1.0)
    )
    kw = rng.uniform(0.6, 3.0)
    per_h = math.exp(rng.uniform(math.log(0.15), math.log(15.0)))
    people = rng.randint(0, 2)
    if kind == "hard":
        gap = DRY_O2_PCT * 0.99 - LIMIT_PCT + rng.uniform(-0.5, 0.5)
        fuel = kw / PROPANE_KJ_PER_MOL
        per_h = 3600.0 * 100.0 * (4.58 * fuel + 1.2 * people * 1.2e-4) / moles / gap
        per_h = min(max(per_h, 0.15), 20.0)
    night = Night(seed, kind, volume_m3=volume)
    schedule = draw_schedule(rng, kind, HOURS * 3600.0, kw, per_h)
    night.changes = [row[0] for row in schedule]
    icing_s = rng.uniform(3600.0, 14400.0) if kind == "icing" else 0.0
    icing_from_s = rng.uniform(1200.0, 9000.0)
    w_out = rng.uniform(0.001, 0.006)
    wall_k = rng.uniform(0.0, 5.0) / 3600.0
    w_cap = rng.uniform(0.012, 0.025)
    gap = people * 0.0
    w, c, burn, k = w_out, 0.0, 0.0, per_h / 3600.0
    o2_lagged = (DRY_O2_PCT - gap) * (1.0 - w)
    c_lagged = c
    f_o2 = math.exp(-DT_S / sensors.o2_lag_s)
    f_co2 = math.exp(-DT_S / sensors.co2_lag_s)
    floor_ppm = rng.uniform(410.0, 460.0)
    base_k = k
    pending = list(schedule)
    for i in range(int(HOURS * 3600.0 / DT_S)):
        t = i * DT_S
        while pending and pending[0][0] <= t:
            _, new_kw, new_per_h, new_people = pending.pop(0)
            burn = burn if new_kw is None else new_kw
            base_k = base_k if new_per_h is None else new_per_h / 3600.0
            people = people if new_people is None else new_people
        k = base_k
        if icing_s and t > icing_from_s:
            k = max(base_k * math.exp(-(t - icing_from_s) / icing_s * 2.0), 4e-5)
        fuel, breath = burn / PROPANE_KJ_PER_MOL, people * BREATH_CO2_MOL_PER_S
        s_co2 = 1e6 * (3.0 * fuel + breath) / moles
        sink = 100.0 * (4.58 * fuel + 1.16 * breath) / moles
        s_w = (4.0 * fuel + people * 6e-4) / moles
        k_w = k + wall_k
        w_end = min((s_w + k * w_out + wall_k * w_out) / k_w, w_cap)
        o2 = (DRY_O2_PCT - gap) * (1.0 - w)
        night.time_s.append(t)
        night.o2_pct.append(o2)
        night.co2_ppm.append(floor_ppm + c)
        night.k_per_s.append(k)
        night.burn_kw.append(burn)
        night.settles_pct.append((DRY_O2_PCT - sink / k) * (1.0 - w_end))
        night.known_s.append(_minutes_known(gap, sink, k, w, w_end, k_w))
        drift = sensors.o2_bias_pct + sensors.o2_drift_pct_per_h * t / 3600.0
        night.o2_seen.append(
            _read(
                rng,
                o2_lagged + drift,
                sensors.o2_noise_pct,
                sensors.o2_step_pct,
                sensors,
                rng.choice((0.0, 12.3, 25.0)),
            )
        )
        night.co2_seen.append(
            _read(
                rng,
                floor_ppm + sensors.co2_gain * c_lagged,
                sensors.co2_noise_ppm,
                sensors.co2_step_ppm,
                sensors,
                rng.choice((0.0, 39999.0)),
            )
        )
        decay = math.exp(-k * DT_S)
        gap = sink / k + (gap - sink / k) * decay
        c = s_co2 / k + (c - s_co2 / k) * decay
        w = w_end + (w - w_end) * math.exp(-k_w * DT_S)
        o2_lagged += (1.0 - f_o2) * ((DRY_O2_PCT - gap) * (1.0 - w) - o2_lagged)
        c_lagged += (1.0 - f_co2) * (c - c_lagged)
    return night
