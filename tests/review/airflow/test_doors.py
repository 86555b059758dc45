"""A door that stood open is told from whatever else lets CO2 fall.

The cabin here is one equation, dc/dt = s - k c, solved step by step in the test.
"""

import itertools
import math
import random
from collections.abc import Callable

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from cabinvigil.daemon.review.airflow.doors import (
    LEAST_EXCESS_PPM,
    Door,
    doors,
)

STEP_H = 120.0 / 3600.0
OUTDOOR_PPM = 425.0
NODES = 200
SD_PPM = 10.0
Course = Callable[[float], float]


def level(k: Course, s: Course, seed: int = 1, sd_ppm: float = SD_PPM) -> list[float]:
    """Return CO2 at each node, in steps of two seconds, with its noise."""
    rng, fine_h = random.Random(seed), 2.0 / 3600.0
    c, found = s(0.0) / max(k(0.0), 0.1), []
    for n in range(NODES):
        found.append(OUTDOOR_PPM + c + rng.gauss(0.0, sd_ppm))
        for i in range(60):
            at_h = n * STEP_H + i * fine_h
            now = k(at_h)
            settled = s(at_h) / now
            c = settled + (c - settled) * math.exp(-now * fine_h)
    return found


def told(levels: list[float | None] | list[float]) -> list[Door]:
    return doors(list(levels), [SD_PPM] * len(levels), OUTDOOR_PPM, STEP_H)


@pytest.mark.parametrize("minutes", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("usual", [0.3, 1.0, 3.0, 6.0])
@pytest.mark.parametrize("open_per_h", [60.0, 150.0])
def test_its_air_is_told(minutes: float, usual: float, open_per_h: float) -> None:
    """Within what `DOOR_SPREAD` says of it, nine in ten: here the worst case."""
    begin = 3.013

    def k(at_h: float) -> float:
        return open_per_h if begin <= at_h < begin + minutes / 60.0 else usual

    found = told(level(k, lambda _: 4000.0 * usual))
    true = (open_per_h - usual) * minutes / 60.0
    if true < 0.5 and usual > 5.0:
        return  # a gust in a cabin that is aired as quickly as that
    assert len(found) == 1
    assert found[0].begin * STEP_H == pytest.approx(begin, abs=2.0 * STEP_H)
    # Almost all of the air is new after three changes, and CO2 tells no more of them.
    assert found[0].changes >= 0.5 * min(true, 2.0)
    assert found[0].changes <= 1.5 * true


@pytest.mark.parametrize("times", [3, 8])
def test_each_of_several_is_told_once(times: int) -> None:
    begins = [1.0 + 0.6 * n for n in range(times)]

    def k(at_h: float) -> float:
        return 80.0 if any(one <= at_h < one + 0.015 for one in begins) else 1.5

    assert len(told(level(k, lambda _: 6000.0))) == times


def test_a_dozen_of_them_are_none() -> None:
    """Nobody goes out as often, and a thermostat in a quick cabin looks so."""

    def k(at_h: float) -> float:
        return 80.0 if at_h > 0.9 and at_h % 0.5 < 0.015 else 1.5

    assert told(level(k, lambda _: 6000.0)) == []


KS = st.floats(0.1, 15.0)
HIGH, LOW = st.floats(2000.0, 40_000.0), st.floats(0.0, 0.6)
SEEDS = st.integers(0, 10**6)


@given(k=KS, s=HIGH, share=LOW, seed=SEEDS)
def test_a_burner_that_goes_out_or_down_is_none(
    k: float, s: float, share: float, seed: int
) -> None:
    out = level(lambda _: k, lambda at_h: s if at_h < 3.0 else share * s, seed)
    assert told(out) == []


@given(
    k=KS,
    s=HIGH,
    share=LOW,
    period_h=st.floats(0.1, 1.5),
    duty=st.floats(0.2, 0.8),
    seed=SEEDS,
)
@example(k=15.0, s=40_000.0, share=0.0, period_h=0.25, duty=0.5, seed=1)
def test_a_thermostat_is_next_to_none(
    k: float, s: float, share: float, period_h: float, duty: float, seed: int
) -> None:
    """Where a fall ends between two nodes, it may look quicker than its air."""

    def source(at_h: float) -> float:
        return s if at_h / period_h % 1.0 < duty else share * s

    by_doors = math.fsum(one.changes for one in told(level(lambda _: k, source, seed)))
    assert by_doors <= 0.1 * k * NODES * STEP_H


@given(k=st.floats(0.1, 5.0), times=st.floats(1.2, 3.0), s=HIGH, seed=SEEDS)
def test_a_vent_that_is_opened_for_good_is_none(
    k: float, times: float, s: float, seed: int
) -> None:
    out = level(lambda at_h: k if at_h < 3.0 else times * k, lambda _: s, seed)
    assert told(out) == []


@given(k=KS, s=HIGH, more=st.floats(1.2, 4.0), seed=SEEDS)
def test_a_stove_beside_the_heater_is_none(
    k: float, s: float, more: float, seed: int
) -> None:
    out = level(lambda _: k, lambda at_h: more * s if 3.0 <= at_h < 3.3 else s, seed)
    assert told(out) == []


@given(k=KS, s=HIGH, seed=SEEDS, sd_ppm=st.floats(0.0, SD_PPM))
def test_noise_is_none(k: float, s: float, seed: int, sd_ppm: float) -> None:
    assert told(level(lambda _: k, lambda _: s, seed, sd_ppm)) == []


@given(
    levels=st.lists(st.none() | st.floats(-100.0, 60_000.0), min_size=0, max_size=60),
    sd_ppm=st.floats(0.0, 500.0),
)
def test_whatever_was_read_it_answers_within_the_night(
    levels: list[float | None], sd_ppm: float
) -> None:
    """Holes, ends of ranges, readings below outdoors: no door is before its begin."""
    found = doors(levels, [sd_ppm] * len(levels), OUTDOOR_PPM, STEP_H)
    for one in found:
        assert 0 <= one.begin < one.end < len(levels)
        assert one.changes > 0.0
        assert math.isfinite(one.changes)
        assert all(levels[n] is not None for n in range(one.begin, one.end + 1))
    pairs = itertools.pairwise(found)
    assert all(one.end <= other.begin for one, other in pairs)


@given(k=KS, s=st.floats(20.0, 290.0), seed=SEEDS)
def test_air_that_is_all_but_outdoor_air_tells_of_none(
    k: float, s: float, seed: int
) -> None:
    assume(s / k + 4.0 * SD_PPM < LEAST_EXCESS_PPM)
    opened = level(lambda at_h: 80.0 if 3.0 <= at_h < 3.02 else k, lambda _: s, seed)
    assert told(opened) == []


@pytest.mark.parametrize("hole", [1, 2, 3, 6])
@pytest.mark.parametrize("s", [3000.0, 12_000.0])
def test_a_hole_in_the_readings_is_none(hole: int, s: float) -> None:
    """What nobody measured did not fall, and a door beside it is not made up."""
    levels: list[float | None] = [*level(lambda _: 1.5, lambda _: s)]
    levels[90 : 90 + hole] = [None] * hole
    assert told(levels) == []
