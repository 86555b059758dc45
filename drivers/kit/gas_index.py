"""An index from a raw gas signal: how it stands against the air of the last hours.

The method and its figures are Sensirion's published gas index algorithm, version 3.2
(BSD licence), written again here and held in tests against their own package.  Mean and
spread of the raw signal are learnt over half a day, faster after a start, and not
while the index is high; the distance from the mean is squeezed into 1 to 500 and
smoothed.  100 (VOC) or 1 (NOx) is the usual air of this place, not clean air: an index
that adapts to slowly worsening air is an annotation, never an alarm's ground.
"""

import math
from dataclasses import dataclass

STEP_S = 1.0
"""The signal must come once a second."""
BLACKOUT_S = 45.0
"""No index for this long after a start."""
GAIN = 230.0
FULL = 500.0
STD_AT_START = 50.0
LEARN_H = 12.0
LEARN_STD_AT_START_S = 2500.0
TRANSITION = 0.01
GATE_AT_START = 510.0
GATE_TRANSITION = 0.09
GATE_RATIO = 0.3
GAMMA_SCALE = 64.0
MEAN_SCALE = 8.0
"""Scales of the published fixed-point form, kept so that limits stay the same."""
LARGEST_S = 32767.0
"""Uptime counters stop here (the published form counts in 16 bits)."""
LARGEST_TICKS = 32767
FAST_S, SLOW_S, QUICKEN = 20.0, 500.0, -0.2


@dataclass(frozen=True, slots=True)
class Figures:
    """What differs between the two pixels."""

    offset: float
    """The index of the usual air."""
    slope: float
    centre: float
    """Of the curve that squeezes."""
    lowest_ticks: int
    learn_mean_at_start_s: float
    mean_settles_s: float
    std_settles_s: float
    gate: float
    """The index above which nothing is learnt."""
    gate_longest_min: float
    """After this long above it, the air is taken for the new usual."""
    fixed_std: float | None
    """NOx has a fixed spread, and rises with the gas."""


VOC = Figures(100.0, -0.0065, 213.0, 20000, 20.0, 2700.0, 5220.0, 340.0, 180.0, None)
NOX = Figures(1.0, -0.0101, 614.0, 10000, 1200.0, 17100.0, 20520.0, 30.0, 720.0, 2000.0)
STD_BONUS = 220.0
"""Added to the learnt spread of VOC."""


def _falling(value: float, centre: float, steepness: float) -> float:
    """Return 1 far below the centre, 0 far above it."""
    x = steepness * (value - centre)
    if x < -50:
        return 1.0
    return 0.0 if x > 50 else 1 / (1 + math.exp(x))


class _Learner:
    """Mean and spread of the raw signal, learnt while the air is usual."""

    def __init__(self, figures: Figures) -> None:
        self._f = figures
        step_h = STEP_S / 3600
        slow = GAMMA_SCALE * step_h / (LEARN_H + step_h)
        self._mean_gain = MEAN_SCALE * slow
        self._std_gain = slow
        start_s = figures.learn_mean_at_start_s
        self._mean_gain_at_start = (
            MEAN_SCALE * GAMMA_SCALE * STEP_S / (start_s + STEP_S)
        )
        self._std_gain_at_start = GAMMA_SCALE * STEP_S / (LEARN_STD_AT_START_S + STEP_S)
        self._up_s = self._gate_up_s = self._gated_min = 0.0
        self._mean: float | None = None
        self.std = STD_AT_START

    @property
    def mean(self) -> float:
        """The learnt mean, in ticks above the lowest."""
        return self._mean or 0.0

    @property
    def has_begun(self) -> bool:
        """Whether a first value was taken."""
        return self._mean is not None

    def process(self, ticks: float, index: float) -> None:
        """Learn from one value, as far as the present index lets it."""
        if self._mean is None:
            self._mean = ticks
            return
        # The published form moves its centre and scales its squares, so that neither
        # overflows its fixed point; with floats both fall out.
        mean_gain, std_gain = self._gains(index)
        delta = (ticks - self._mean) / GAMMA_SCALE
        square = self.std * self.std / GAMMA_SCALE + std_gain * delta * delta
        self.std = math.sqrt((GAMMA_SCALE - std_gain) * square)
        self._mean += mean_gain * delta / MEAN_SCALE

    def _gains(self, index: float) -> tuple[float, float]:
        """Return how much is learnt now, of mean and of spread."""
        f = self._f
        self._up_s = min(self._up_s + STEP_S, LARGEST_S)
        self._gate_up_s = min(self._gate_up_s + STEP_S, LARGEST_S)
        young_mean = _falling(self._up_s, f.mean_settles_s, TRANSITION)
        young_std = _falling(self._up_s, f.std_settles_s, TRANSITION)
        open_mean = self._open(index, f.mean_settles_s)
        open_std = self._open(index, f.std_settles_s)
        mean = self._mean_gain
        mean += (self._mean_gain_at_start - self._mean_gain) * young_mean
        std = self._std_gain
        std += (self._std_gain_at_start - self._std_gain) * (young_std - young_mean)
        gated = (1 - open_mean) * (1 + GATE_RATIO) - GATE_RATIO
        self._gated_min = max(0.0, self._gated_min + STEP_S / 60 * gated)
        if self._gated_min > f.gate_longest_min:
            self._gate_up_s = 0.0
        return mean * open_mean, std * open_std

    def _open(self, index: float, settles_s: float) -> float:
        """Return how far the gate is open: 1 in usual air, 0 in bad."""
        young = _falling(self._gate_up_s, settles_s, TRANSITION)
        gate = self._f.gate + (GATE_AT_START - self._f.gate) * young
        return _falling(index, gate, GATE_TRANSITION)


class _Smoother:
    """A low pass that quickens while its input moves."""

    def __init__(self) -> None:
        self._state: tuple[float, float, float] | None = None

    def process(self, value: float) -> float:
        """Return the smoothed value."""
        fast, slow, out = self._state or (value, value, value)
        fast += (value - fast) * STEP_S / (FAST_S + STEP_S)
        slow += (value - slow) * STEP_S / (SLOW_S + STEP_S)
        still = math.exp(QUICKEN * abs(fast - slow))
        tau_s = (SLOW_S - FAST_S) * still + FAST_S
        out += (value - out) * STEP_S / (tau_s + STEP_S)
        self._state = fast, slow, out
        return out


class GasIndex:
    """The index of one pixel; keeps what it learnt between calls."""

    def __init__(self, figures: Figures) -> None:
        self._f = figures
        self._learner = _Learner(figures)
        self._smoother = _Smoother()
        self._up_s = 0.0
        self._index = 0.0

    def process(self, raw: int) -> int:
        """Take the raw signal of one second; return 1 to 500, or 0 for none yet."""
        if self._up_s <= BLACKOUT_S:
            self._up_s += STEP_S
            return 0
        above = raw - self._f.lowest_ticks
        ticks = float(min(max(above, 1), LARGEST_TICKS))
        squeezed = self._f.offset
        if self._learner.has_begun or self._f.fixed_std is None:
            squeezed = self._squeeze(self._distance(ticks))
        self._index = max(0.5, self._smoother.process(squeezed))
        self._learner.process(ticks, self._index)
        return int(self._index + 0.5)

    def _distance(self, ticks: float) -> float:
        """Return how far the signal stands from its mean, in units of its spread."""
        away = ticks - self._learner.mean
        if self._f.fixed_std is not None:
            return away / self._f.fixed_std * GAIN
        return -away / (self._learner.std + STD_BONUS) * GAIN

    def _squeeze(self, distance: float) -> float:
        """Squeeze the distance into the index's scale, 0 at its usual value."""
        share = _falling(distance, self._f.centre, self._f.slope)
        if distance < 0:
            return FULL * share
        shift = 0.0 if self._f.offset == 1 else (FULL - 5 * self._f.offset) / 4
        return (FULL + shift) * share - shift
