"""From ticks of any spacing to steps: means, what the sensor's noise is, wild values.

A bank that thinks its sensor noisier than it is answers late, and one that thinks it
finer takes noise for change: so the noise is learnt from the readings themselves,
from how far each lies from the line through its neighbours.
"""

import itertools
import math
from dataclasses import dataclass, replace

USUAL_COUNT = 8.0
"""The noise that is assumed beforehand counts as so many readings."""
SOON_COUNT = 20.0
"""Until so many are counted, the scatter within a step is heeded too."""
MOST_COUNT = 200.0
"""Noise is followed over about so many readings."""
WILDEST = 3.0
"""Standard deviations beyond which a difference no longer widens the noise: it is a
change of the air (Huber's clipping, unverified)."""
FOLLOW = 0.05
"""Share by which the usual place of readings in a step follows each step's own."""
STEP_SIGMA = 0.2887
"""Standard deviation of what a step of 1 hides: 1 / sqrt(12)."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One sensor, as gathered."""

    noise: float
    """Standard deviation of one gathered value, learnt so far."""
    least_noise: float
    """No working sensor is finer; also keeps a frozen one from ruling the bank."""
    gate_per_s: float
    """A faster change is believed only when the next value bears it out."""
    step: float = 0.0
    """Smallest difference seen between two readings; 0: none yet."""
    counted: float = USUAL_COUNT
    pending: tuple[tuple[float, float], ...] = ()
    """Readings of the step being gathered, each with its moment."""
    behind_s: float | None = None
    """How far the readings of a step lie before its end, on the average."""
    last_raw: float | None = None
    last: tuple[float, float] | None = None
    """(moment, value) of the last step."""
    before: tuple[float, float] | None = None
    doubted: tuple[float, float] | None = None
    """A wild value that waits for a second one."""
    same: int = 0
    """How many steps in a row have shown one value."""
    knee: float = 0.0
    """Reading from which what grows with it makes most of the noise; 0: none grows."""


def growth(channel: Channel, value: float) -> float:
    """Return how many times the noise at zero the noise at a reading is."""
    return math.hypot(1.0, value / channel.knee) if channel.knee else 1.0


def note(channel: Channel, now_s: float, value: float) -> Channel:
    """Keep one reading for the coming step."""
    step = channel.step
    if channel.last_raw is not None:
        apart = abs(value - channel.last_raw)
        if apart > 1e-9 and (step == 0.0 or apart < step):
            step = apart
    # Half a minute at two readings a second; more than that is no step.
    pending = (*channel.pending[-59:], (now_s, value))
    return replace(channel, pending=pending, last_raw=value, step=step)


def _mean(values: tuple[float, ...]) -> float:
    """Average, without the outermost two where there are enough to spare."""
    if len(values) >= 5:
        return (math.fsum(values) - max(values) - min(values)) / (len(values) - 2)
    if len(values) >= 3:
        return sorted(values)[len(values) // 2]
    return math.fsum(values) / len(values)


def close(channel: Channel, end_s: float) -> tuple[Channel, float | None]:
    """End a step: give its value, or None where there is none or it is not believed.

    Args:
        channel: with the readings that were noted.
        end_s: where the step ends; uneven ticks lie now nearer to it, now further.
    """
    if not channel.pending:
        return channel, None
    value = _mean(tuple(v for _, v in channel.pending))
    now_s = math.fsum(t for t, _ in channel.pending) / len(channel.pending)
    last, doubted = channel.last, channel.doubted
    noise = channel.noise
    if channel.counted < SOON_COUNT:
        # The first steps must not trust a noise that was only assumed.
        scatter = _scatter(tuple(v for _, v in channel.pending))
        noise = max(noise, scatter / growth(channel, value))
    channel = replace(channel, pending=(), noise=noise)
    if last is not None:
        wild = 8.0 * channel.noise * growth(channel, value)
        room = channel.gate_per_s * max(now_s - last[0], 1.0) + wild
        if abs(value - last[1]) > room:
            near = channel.gate_per_s * 30.0 + wild
            if doubted is None or abs(value - doubted[1]) > near:
                return replace(channel, doubted=(now_s, value)), None
    return _aligned(_learnt(channel, now_s, value), last, end_s)


def _aligned(
    channel: Channel, before: tuple[float, float] | None, end_s: float
) -> tuple[Channel, float]:
    """Move a value to where its step's readings usually lie.

    A climb of 5 ppm a second read 4 s late would else look like noise of 20 ppm.
    """
    assert channel.last is not None
    now_s, value = channel.last
    behind_s = end_s - now_s
    usual_s = behind_s if channel.behind_s is None else channel.behind_s
    usual_s += FOLLOW * (behind_s - usual_s)
    if before is not None and now_s - before[0] > 1.0:
        slope = (value - before[1]) / (now_s - before[0])
        value += slope * (behind_s - usual_s)
    return replace(channel, behind_s=usual_s), value


def _scatter(values: tuple[float, ...]) -> float:
    """Return the noise of a step's mean by how its own readings scatter."""
    count = len(values)
    if count < 5:
        return 0.0
    # Successive differences: a climb within the step is no scatter.
    squares = math.fsum((b - a) ** 2 for a, b in itertools.pairwise(values))
    return math.sqrt(0.5 * squares / (count - 1) / count)


def _learnt(channel: Channel, now_s: float, value: float) -> Channel:
    """Learn the noise from how far the middle of three lies off the line."""
    last, before = channel.last, channel.before
    noise, counted = channel.noise, channel.counted
    if last is not None and before is not None:
        gap, gap_before = now_s - last[0], last[0] - before[0]
        if 0.0 < gap <= 3.0 * gap_before and 0.0 < gap_before <= 3.0 * gap:
            share = gap / (gap + gap_before)
            off = last[1] - (share * before[1] + (1.0 - share) * value)
            off /= growth(channel, last[1])
            unit = 1.0 + share * share + (1.0 - share) * (1.0 - share)
            square = min(off * off / unit, (WILDEST * noise) ** 2)
            counted = min(counted + 1.0, MOST_COUNT)
            noise = math.sqrt(noise * noise + (square - noise * noise) / counted)
    same = channel.same + 1 if last is not None and last[1] == value else 0
    return replace(
        channel,
        noise=max(noise, channel.least_noise),
        counted=counted,
        last=(now_s, value),
        before=last,
        doubted=None,
        same=same,
    )


def noise_of(channel: Channel) -> float:
    """Return the noise to judge the last value by, its steps' width included.

    A coarse sensor at rest repeats itself: the tenth equal reading tells next to
    nothing that the first did not.
    """
    hidden = STEP_SIGMA * channel.step
    noise = channel.noise
    if channel.last is not None:
        noise *= growth(channel, channel.last[1])
    if hidden <= noise:
        return noise
    return hidden * math.sqrt(1.0 + min(channel.same, 10))
