"""What one sensor is like, learnt from its readings."""

import itertools
import math
import random
from dataclasses import replace

import pytest

from cabinvigil.daemon.trend.minute_means import Channel, close, noise_of, note


def fresh(noise: float = 12.0) -> Channel:
    return Channel(noise, 2.0, 250.0)


def feed(channel: Channel, values: list[float]) -> tuple[Channel, list[float | None]]:
    out = []
    for i, value in enumerate(values):
        channel = note(channel, 10.0 * i, value)
        channel, got = close(channel, 10.0 * i)
        out.append(got)
    return channel, out


@pytest.mark.parametrize("noise", [5.0, 25.0])
def test_learns_the_noise_while_the_air_moves(noise: float) -> None:
    """A climb of 3 ppm a second is not taken for noise."""
    rng = random.Random(1)
    values = [400.0 + 30.0 * i + rng.gauss(0.0, noise) for i in range(200)]
    channel, _ = feed(fresh(), values)
    assert noise_of(channel) == pytest.approx(noise, rel=0.2)


def test_noise_grows_with_the_reading() -> None:
    """10 ppm, and 0.4 % of the reading: what was learnt at 400 ppm holds at 8 000."""
    rng = random.Random(3)
    near = [400.0 + rng.gauss(0.0, 10.1) for _ in range(200)]
    channel, _ = feed(replace(fresh(), knee=2500.0), near)
    assert noise_of(channel) == pytest.approx(10.1, rel=0.2)
    ramp = [400.0 + 200.0 * i for i in range(39)]
    after, _ = feed(channel, [v + rng.gauss(0.0, 0.0042 * v) for v in ramp])
    assert noise_of(after) == pytest.approx(math.hypot(10.0, 0.004 * 8000.0), rel=0.3)


def test_one_jump_does_not_spoil_the_noise() -> None:
    """A burner lit moves the noise by less than a third."""
    rng = random.Random(2)
    values = [400.0 + rng.gauss(0.0, 10.0) for _ in range(100)]
    before, _ = feed(fresh(), values)
    after, _ = feed(fresh(), [*values, 900.0, 1400.0])
    assert noise_of(after) < 1.3 * noise_of(before)


def test_coarse_steps_are_noise_and_repeats_tell_less() -> None:
    """In steps of 50 ppm a still reading hides 14 ppm (50/sqrt 12), and the tenth
    equal one tells less than the first."""
    channel, _ = feed(fresh(3.0), [450.0, 400.0, 450.0])
    assert noise_of(channel) == pytest.approx(50.0 / 12.0**0.5, rel=0.01)
    still, _ = feed(channel, [450.0] * 10)
    assert noise_of(still) > 2.0 * noise_of(channel)


def test_one_wild_value_is_not_believed_and_two_are() -> None:
    """A single 39 999 is dropped; a second one like it is the air."""
    _, got = feed(fresh(), [450.0, 452.0, 39999.0, 455.0])
    assert got == [450.0, 452.0, None, 455.0]
    _, got = feed(fresh(), [450.0, 452.0, 39999.0, 39990.0])
    assert got == [450.0, 452.0, None, 39990.0]


def test_a_step_averages_without_its_outermost() -> None:
    """Ten readings of which one is wild give the mean of the others."""
    channel = fresh()
    for value in [500.0] * 9 + [5000.0]:
        channel = note(channel, 10.0, value)
    _, got = close(channel, 10.0)
    assert got == 500.0


def test_nothing_gathered_is_nothing() -> None:
    """A step without readings gives None and learns nothing."""
    channel = fresh()
    assert close(channel, 10.0) == (channel, None)


def test_a_frozen_sensor_keeps_a_least_noise() -> None:
    """A reading that never moves must not become infinitely sure."""
    channel, _ = feed(fresh(), [450.0] * 400)
    assert noise_of(channel) >= 2.0


def test_pending_readings_are_bounded() -> None:
    """A flood of readings within one step keeps a minute's worth at most."""
    channel = fresh()
    for value in range(1000):
        channel = note(channel, 1.0, float(value))
    assert len(channel.pending) == 60


def test_uneven_ticks_are_no_noise() -> None:
    """Readings that lie now 1 s, now 6 s before a step's end, on a climb of 5 ppm a
    second, come out as evenly as the climb."""
    channel, out = Channel(5.0, 2.0, 250.0), []
    for step in range(200):
        end_s = 10.0 * step
        at_s = end_s - (1.0 if step % 3 else 6.0)
        channel, got = close(note(channel, at_s, 400.0 + 5.0 * at_s), end_s)
        assert got is not None
        out.append(got)
    climbs = [b - a for a, b in itertools.pairwise(out[150:])]
    assert max(abs(climb - 50.0) for climb in climbs) < 3.0


def test_the_first_step_does_not_trust_an_assumed_noise() -> None:
    """Ten readings that scatter by 200 ppm say so at once."""
    rng = random.Random(8)
    channel = fresh()
    for second in range(10):
        channel = note(channel, float(second), 400.0 + rng.gauss(0.0, 200.0))
    channel, _ = close(channel, 10.0)
    assert noise_of(channel) == pytest.approx(200.0 / 10.0**0.5, rel=0.5)
