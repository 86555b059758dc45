"""How the parts read: lag, gain, offset, drift, noise, steps, losses, scale's end."""

import math
import random
from dataclasses import dataclass, field

from tests.bench.second_nights.draw import log_uniform
from tests.bench.second_nights.live import TICK_S, Moment


@dataclass
class Channel:
    """One quantity as its part gives it."""

    gain: float = 1.0
    offset: float = 0.0
    drift_per_h: float = 0.0
    noise: float = 0.0
    noise_share: float = 0.0
    lag_s: float = 10.0
    step: float = 0.01
    low: float = -math.inf
    scale_end: float = math.inf
    lagged: float | None = field(default=None, repr=False)

    def read(self, rng: random.Random, at_s: float, value: float) -> float:
        """Give what is shown; the scale's end at least."""
        if self.lagged is None:
            self.lagged = value
        self.lagged += (value - self.lagged) * (1.0 - math.exp(-TICK_S / self.lag_s))
        seen = self.gain * self.lagged + self.offset
        seen += self.drift_per_h * at_s / 3600.0
        noise = self.noise + self.noise_share * abs(seen)
        seen += rng.gauss(0.0, noise) if noise > 0.0 else 0.0
        seen = round(seen / self.step) * self.step
        return min(self.scale_end, max(self.low, seen))


@dataclass
class Parts:
    """All parts of one night."""

    o2: Channel
    co2: Channel
    co: Channel
    temp: Channel
    rh: Channel
    glass: Channel | None
    outside: Channel | None
    pressure: Channel | None
    lost_share: float = 0.0
    holes: list[tuple[float, float]] = field(default_factory=list)
    """Stretches without a reading of CO2."""
    tells_end: bool = False
    """At the scale's end: the reading is marked as at least; else it is missing."""

    def read(self, rng: random.Random, moment: Moment) -> dict[str, float]:
        """Read all parts; what is lost is missing."""
        at_s, (o2, co2, co, temp_c, rh) = moment.at_s, moment.seen
        row = {
            "o2_pct": round(self.o2.read(rng, at_s, o2), 3),
            "co2_ppm": float(round(self.co2.read(rng, at_s, co2))),
            "co_ppm": round(self.co.read(rng, at_s, co), 1),
            "temp_c": round(self.temp.read(rng, at_s, temp_c), 2),
            "rh_pct": round(min(100.0, self.rh.read(rng, at_s, rh)), 2),
        }
        for key, part, value in (
            ("temp_c_glass", self.glass, moment.glass_c),
            ("temp_c_outside", self.outside, moment.outside_c),
            ("pressure_hpa", self.pressure, moment.pressure_hpa),
        ):
            if part is not None:
                row[key] = round(part.read(rng, at_s, value), 2)
        if row["co2_ppm"] >= self.co2.scale_end and not self.tells_end:
            del row["co2_ppm"]
        if any(from_s <= at_s < to_s for from_s, to_s in self.holes):
            row.pop("co2_ppm", None)
        if self.lost_share > 0.0:
            row = {
                key: one for key, one in row.items() if rng.random() >= self.lost_share
            }
        return row


def draw_parts(rng: random.Random) -> Parts:
    """Draw parts; a class in a data sheet counts as two standard deviations.

    CO2 +-(30 ppm + 3 %), O2 0.1 % after its span, temperature 0.2 to 0.5 K, humidity
    2 to 3 %: classes of the trade's better parts.
    """
    co2 = Channel(
        gain=1.0 + rng.gauss(0.0, 0.015),
        offset=rng.gauss(0.0, 15.0),
        noise=rng.uniform(8.0, 18.0),
        noise_share=0.004 * rng.random(),
        lag_s=rng.uniform(20.0, 75.0),
        step=1.0,
        low=0.0,
        scale_end=40_000.0,
    )
    o2 = Channel(
        gain=1.0 + rng.gauss(0.0, 0.0015),
        offset=rng.gauss(0.0, 0.02),
        drift_per_h=rng.gauss(0.0, 0.003),
        noise=log_uniform(rng, 0.01, 0.05),
        lag_s=rng.uniform(8.0, 30.0),
        step=rng.choice((0.01, 0.01, 0.05)),
    )
    temp_class, rh_class = rng.uniform(0.2, 0.5), rng.uniform(2.0, 3.0)
    temp = Channel(
        offset=rng.gauss(0.0, temp_class / 2.0), noise=0.03, lag_s=rng.uniform(10, 60)
    )
    rh = Channel(
        offset=rng.gauss(0.0, rh_class / 2.0),
        noise=0.1,
        lag_s=rng.uniform(8.0, 40.0),
        step=0.1,
        low=0.0,
    )
    co = Channel(gain=rng.gauss(1.0, 0.05), noise=0.5, lag_s=30.0, step=0.1)
    glass = Channel(offset=rng.gauss(0.0, 0.2), noise=0.05, step=0.06)
    outside = Channel(offset=rng.gauss(0.0, 0.25), noise=0.05, step=0.06, lag_s=120.0)
    pressure = Channel(offset=rng.gauss(0.0, 0.5), noise=0.05)
    return Parts(
        o2,
        co2,
        co,
        temp,
        rh,
        glass if rng.random() < 0.4 else None,
        outside if rng.random() < 0.5 else None,
        pressure if rng.random() < 0.5 else None,
    )
