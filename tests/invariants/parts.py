"""Parts that read the true air with lag, noise and steps, and that fail in every way.

Written from the parts' data sheets as the drivers' docstrings quote them (noise, step,
lag, interval, end of range, coldest valid temperature), not from the drivers' tables.
"""

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from tests.invariants.air import Truth

Sample = tuple[str, float, str]
"""Quantity, value, and `good`, `at-least` or `outside-range`."""


@dataclass(frozen=True, slots=True)
class Channel:
    """How one quantity of a part is read."""

    quantity: str
    noise: float
    step: float
    lag_s: float
    top: float = math.inf
    """End of range: more is given as 'at least this'."""
    bottom: float = -math.inf
    """No value goes below."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of part."""

    channels: tuple[Channel, ...]
    interval_s: float
    coldest_c: float = -40.0
    """Colder than this its values are doubtful."""


KINDS = {
    "o2_optical_line": Kind(
        (
            Channel("o2_pct", 0.02, 0.01, 13.0, 25.0),
            Channel("o2_hpa", 0.2, 0.1, 13.0, 300.0),
            Channel("pressure_hpa", 0.3, 1.0, 1.0),
        ),
        1.0,
        -30.0,
    ),
    "o2_key_register": Kind(
        (
            Channel("o2_pct", 0.02, 0.002, 6.5, 25.0),
            Channel("o2_hpa", 0.2, 0.02, 6.5, 300.0),
        ),
        5.0,
        -20.0,
    ),
    "frame9_co": Kind((Channel("co_ppm", 0.3, 0.1, 13.0, 500.0, 0.0),), 1.0, -10.0),
    "co_cell_ads1115": Kind(
        (Channel("co_ppm", 0.05, 0.0125, 6.5, 1000.0, -2.0),), 5.0, -30.0
    ),
    "scd4x": Kind(
        (
            Channel("co2_ppm", 10.0, 1.0, 60.0, 40_000.0),
            Channel("temp_c", 0.1, 0.003, 90.0),
            Channel("rh_pct", 0.4, 0.002, 90.0, 100.0),
        ),
        5.0,
        -10.0,
    ),
    "bme280": Kind(
        (
            Channel("pressure_hpa", 0.013, 0.002, 1.0),
            Channel("rh_pct", 0.07, 0.008, 5.0, 100.0),
            Channel("temp_c", 0.005, 0.01, 10.0),
        ),
        10.0,
    ),
    "sht4x": Kind(
        (
            Channel("temp_c", 0.04, 0.003, 5.0),
            Channel("rh_pct", 0.08, 0.002, 6.0, 100.0),
        ),
        5.0,
    ),
}

PARTS = {
    "bunk-o2": "o2_optical_line",
    "cell-o2": "o2_key_register",
    "bunk-co": "frame9_co",
    "cell-co": "co_cell_ads1115",
    "bunk-co2": "scd4x",
    "baro": "bme280",
    "bunk-air": "sht4x",
}
"""Every part that is in the cabin, whether the config names it or not."""
MODES = (
    *("alive", "silent", "reported", "frozen", "doubtful"),
    *("skewed", "offset", "swapped"),
)
"""`silent` says nothing at all, `reported` has its sampler say so; `frozen` repeats its
last values; `doubtful` works outside its range; `offset` is off by more than its maker
allows; `swapped` answers for a part of another kind.  `skewed` is no failure: alive,
and off by less than its maker allows, for good."""
SKEWS = {"o2_pct": -0.4, "co_ppm": 5.0, "co2_ppm": 60.0}
"""Within every maker's accuracy, and on the safe side."""
OFFSETS = {"o2_pct": 0.9, "co_ppm": 25.0, "co2_ppm": 900.0}
"""Half as much again as two good parts may differ by (makers' accuracies, added)."""


@dataclass(slots=True)
class Part:
    """One part in the cabin: what it shows, and how it fails."""

    name: str
    kind: Kind
    mode: str = "alive"
    since_s: float = 0.0
    """When its mode began."""
    doubtful_until_s: float = -math.inf
    """Warming up until then."""
    due_s: float = -math.inf
    shown: dict[str, float] = field(default_factory=dict)
    """The lagged value of each quantity."""
    last: list[Sample] = field(default_factory=list)
    """What it last gave."""
    lived_s: float = 0.0
    is_skewed: bool = False

    def set_mode(self, mode: str, now: float) -> None:
        """Fail, fail otherwise, or come back."""
        if mode == "skewed":
            mode, self.is_skewed = "alive", True
        if mode != self.mode:
            self.mode, self.since_s, self.due_s = mode, now, -math.inf

    def read(self, truth: Truth, now: float, rng: random.Random) -> list[Sample]:
        """Return what it gives at this moment; nothing where it is not its turn."""
        self._follow(truth, now)
        if now < self.due_s or self.mode in ("silent", "reported"):
            return []
        self.due_s = now + self.kind.interval_s * 0.999
        if self.mode != "frozen" or not self.last:
            is_cold = truth.temp_c < self.kind.coldest_c
            doubtful = is_cold or self.mode == "doubtful" or now < self.doubtful_until_s
            self.last = [
                self._sample(channel, rng, doubtful=doubtful)
                for channel in self.kind.channels
            ]
        return self.last

    def _follow(self, truth: Truth, now: float) -> None:
        dt_s, self.lived_s = now - self.lived_s, now
        for channel in self.kind.channels:
            quantity = channel.quantity
            if quantity == "o2_hpa":
                true = truth.o2_pct / 100.0 * truth.pressure_hpa
            else:
                true = getattr(truth, quantity)
            shown = self.shown.get(quantity, true)
            share = -math.expm1(-dt_s / channel.lag_s)
            self.shown[quantity] = shown + (true - shown) * share

    def _off(self, off: Mapping[str, float], quantity: str) -> float:
        """Return how far it reads off; a cell's partial pressure as its share does."""
        if quantity == "o2_hpa":
            return off["o2_pct"] * self.shown["o2_hpa"] / self.shown["o2_pct"]
        return off.get(quantity, 0.0)

    def _sample(
        self, channel: Channel, rng: random.Random, *, doubtful: bool
    ) -> Sample:
        value = self.shown[channel.quantity]
        if self.is_skewed:
            value += self._off(SKEWS, channel.quantity)
        if self.mode == "offset":
            value += self._off(OFFSETS, channel.quantity)
        if self.mode == "swapped":
            value *= 0.1
        value += rng.gauss(0.0, channel.noise)
        value = max(channel.bottom, round(value / channel.step) * channel.step)
        if value >= channel.top:
            return channel.quantity, channel.top, "at-least"
        return channel.quantity, value, "outside-range" if doubtful else "good"
