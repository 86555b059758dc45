"""Nights drawn at random for the projection's benchmark: air, sensors and truth.

One generator, written apart from `cabinvigil.daemon.air` and in another form: linear
excesses over outdoor air instead of mole counts, exact between changes.  What is drawn
is wide on purpose: an estimator that knows these ranges knows next to nothing.
"""

import math
import random
from dataclasses import dataclass, field, replace

DT_S = 10.0
HOURS = 5.0
LIMIT_PCT = 19.5
HORIZON_S = 1200.0
ASKED_S = 1320.0
"""What `o2-projected` asks: who is not sure looks a little beyond the horizon."""
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
    temp_seen: list[float] = field(default_factory=list)
    """Empty where nobody measures it."""
    rh_seen: list[float] = field(default_factory=list)
    o2_pct: list[float] = field(default_factory=list)
    co2_ppm: list[float] = field(default_factory=list)
    k_per_s: list[float] = field(default_factory=list)
    settles_pct: list[float] = field(default_factory=list)
    """Level to which O2 tends if nothing changes, at each tick."""
    burn_kw: list[float] = field(default_factory=list)
    known_s: list[float | None] = field(default_factory=list)
    """Time to the limit by the observer's knowledge; None: never."""
    volume_m3: float = 0.0
    parts: Sensors | None = None
    """How the parts read, for a reader who is told so."""
    floor_ppm: float = 0.0
    ratio: list[float] = field(default_factory=list)
    """O2 as breathed (%) that goes over the next 20 min for each ppm of CO2 that
    comes, if nothing changes; told to that reader only."""
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


@dataclass
class Cabin:
    """A cabin as drawn, and what its air holds now."""

    volume_m3: float
    moles: float
    kw: float
    per_h: float
    people: int
    icing_s: float = 0.0
    icing_from_s: float = 0.0
    vapour_out: float = 0.0
    wall_k: float = 0.0
    vapour_cap: float = 0.0
    floor_ppm: float = 0.0
    burn_kw: float = 0.0
    base_k: float = 0.0
    gap_pct: float = 0.0
    """Dry O2 below outdoor air's."""
    excess_ppm: float = 0.0
    vapour: float = 0.0

    def o2_pct(self) -> float:
        """Give O2 as breathed."""
        return (DRY_O2_PCT - self.gap_pct) * (1.0 - self.vapour)

    def k_at(self, t: float) -> float:
        """Give the ventilation now, ice included (1/s)."""
        if self.icing_s and t > self.icing_from_s:
            shut = math.exp(-(t - self.icing_from_s) / self.icing_s * 2.0)
            return max(self.base_k * shut, 4e-5)
        return self.base_k

    def sources(self, k: float) -> tuple[float, float, float, float]:
        """Give CO2 (ppm/s), O2 taken (%/s), where vapour tends, and how fast."""
        fuel = self.burn_kw / PROPANE_KJ_PER_MOL
        breath = self.people * BREATH_CO2_MOL_PER_S
        s_co2 = 1e6 * (3.0 * fuel + breath) / self.moles
        sink = 100.0 * (4.58 * fuel + 1.16 * breath) / self.moles
        s_w = (4.0 * fuel + self.people * 6e-4) / self.moles
        k_w = k + self.wall_k
        w_end = (s_w + k * self.vapour_out + self.wall_k * self.vapour_out) / k_w
        return s_co2, sink, min(w_end, self.vapour_cap), k_w

    def live(self, k: float, dt_s: float = DT_S) -> None:
        """Live one tick, exactly: nothing changes within it."""
        s_co2, sink, w_end, k_w = self.sources(k)
        decay = math.exp(-k * dt_s)
        self.gap_pct = sink / k + (self.gap_pct - sink / k) * decay
        self.excess_ppm = s_co2 / k + (self.excess_ppm - s_co2 / k) * decay
        self.vapour = w_end + (self.vapour - w_end) * math.exp(-k_w * dt_s)


def draw_cabin(rng: random.Random, kind: str) -> Cabin:
    """Draw the cabin and who is in it."""
    volume = rng.uniform(4.0, 14.0)
    thin = rng.uniform(0.75, 1.0) if kind == "altitude" else 1.0
    moles = volume * MOL_PER_M3 * thin
    kw = rng.uniform(0.6, 3.0)
    per_h = math.exp(rng.uniform(math.log(0.15), math.log(15.0)))
    people = rng.randint(0, 2)
    if kind == "hard":
        gap = DRY_O2_PCT * 0.99 - LIMIT_PCT + rng.uniform(-0.5, 0.5)
        taken = 4.58 * kw / PROPANE_KJ_PER_MOL + 1.2 * people * 1.2e-4
        per_h = min(max(3600.0 * 100.0 * taken / moles / gap, 0.15), 20.0)
    return Cabin(volume, moles, kw, per_h, people, base_k=per_h / 3600.0)


def draw_surroundings(rng: random.Random, kind: str, cabin: Cabin) -> None:
    """Draw ice, weather, walls and the CO2 outside."""
    cabin.icing_s = rng.uniform(3600.0, 14400.0) if kind == "icing" else 0.0
    cabin.icing_from_s = rng.uniform(1200.0, 9000.0)
    cabin.vapour_out = cabin.vapour = rng.uniform(0.001, 0.006)
    cabin.wall_k = rng.uniform(0.0, 5.0) / 3600.0
    cabin.vapour_cap = rng.uniform(0.012, 0.025)
    cabin.floor_ppm = rng.uniform(410.0, 460.0)


def note_truth(night: Night, cabin: Cabin, t: float, k: float) -> None:
    """Write down what is true now, and what the observer makes of it."""
    _, sink, w_end, k_w = cabin.sources(k)
    night.time_s.append(t)
    night.o2_pct.append(cabin.o2_pct())
    night.co2_ppm.append(cabin.floor_ppm + cabin.excess_ppm)
    night.k_per_s.append(k)
    night.burn_kw.append(cabin.burn_kw)
    night.settles_pct.append((DRY_O2_PCT - sink / k) * (1.0 - w_end))
    night.known_s.append(
        _minutes_known(cabin.gap_pct, sink, k, cabin.vapour, w_end, k_w)
    )
    later = replace(cabin)
    later.live(k, HORIZON_S)
    rise_ppm = later.excess_ppm - cabin.excess_ppm
    fall_pct = cabin.o2_pct() - later.o2_pct()
    night.ratio.append(fall_pct / rise_ppm if rise_ppm > 100.0 else 1.7e-4)


def note_readings(
    night: Night, rng: random.Random, parts: Sensors, o2: float, co2_ppm: float
) -> None:
    """Write down what the parts give for what their lag shows them."""
    t = night.time_s[-1]
    drift = parts.o2_bias_pct + parts.o2_drift_pct_per_h * t / 3600.0
    wild = rng.choice((0.0, 12.3, 25.0))
    night.o2_seen.append(
        _read(rng, o2 + drift, parts.o2_noise_pct, parts.o2_step_pct, parts, wild)
    )
    wild = rng.choice((0.0, 39999.0))
    night.co2_seen.append(
        _read(rng, co2_ppm, parts.co2_noise_ppm, parts.co2_step_ppm, parts, wild)
    )


def make_night(seed: int, kind: str = "plain", coarse: bool = False) -> Night:
    """Draw one night; the same seed gives the same night."""
    rng = random.Random(f"{kind}/{seed}")
    parts = draw_sensors(rng, kind, coarse)
    cabin = draw_cabin(rng, kind)
    night = Night(seed, kind, volume_m3=cabin.volume_m3, parts=parts)
    pending = draw_schedule(rng, kind, HOURS * 3600.0, cabin.kw, cabin.per_h)
    night.changes = [row[0] for row in pending]
    draw_surroundings(rng, kind, cabin)
    night.floor_ppm = cabin.floor_ppm
    o2_lagged, ppm_lagged = cabin.o2_pct(), 0.0
    f_o2 = math.exp(-DT_S / parts.o2_lag_s)
    f_co2 = math.exp(-DT_S / parts.co2_lag_s)
    for i in range(int(HOURS * 3600.0 / DT_S)):
        t = i * DT_S
        while pending and pending[0][0] <= t:
            _, kw, per_h, people = pending.pop(0)
            cabin.burn_kw = cabin.burn_kw if kw is None else kw
            cabin.base_k = cabin.base_k if per_h is None else per_h / 3600.0
            cabin.people = cabin.people if people is None else people
        k = cabin.k_at(t)
        note_truth(night, cabin, t, k)
        seen_ppm = cabin.floor_ppm + parts.co2_gain * ppm_lagged
        note_readings(night, rng, parts, o2_lagged, seen_ppm)
        cabin.live(k)
        o2_lagged += (1.0 - f_o2) * (cabin.o2_pct() - o2_lagged)
        ppm_lagged += (1.0 - f_co2) * (cabin.excess_ppm - ppm_lagged)
    return night
