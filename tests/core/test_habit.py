"""What is learnt of a column that no part stands behind: noise, step, rhythm."""

import itertools
import math
import random
from collections.abc import Callable, Iterable, Iterator

import pytest

from cabinvigil.daemon.core.habit import LEAST_COUNT, NEW, Habit, learn


def learnt(values: Iterable[float]) -> Habit:
    habit = NEW
    for value in values:
        habit = learn(habit, value)
    return habit


def noisy(
    noise: float,
    decimals: int,
    level: Callable[[int], float] = lambda _: 20.65,
    each: int = 1,
) -> Iterator[float]:
    """A thousand readings, each given so many times."""
    rng = random.Random(3)
    for number in range(1000):
        value = round(level(number) + rng.gauss(0.0, noise), decimals)
        yield from itertools.repeat(value, each)


@pytest.mark.parametrize(
    ("values", "flickers"),
    [
        (noisy(0.02, 2), True),
        (noisy(0.02, 3), True),
        (noisy(10.0, 0), True),
        (noisy(0.03, 2, lambda n: 20.9 - 0.001 * n), True),
        (noisy(0.03, 1), False),  # to and fro over the edge of one coarse step
        (noisy(0.05, 1), False),
        (noisy(0.02, 2, each=5), False),  # a file that repeats each value
        (noisy(0.02, 2, each=60), False),
        (noisy(0.0, 3, lambda n: 20.9 - 0.0033 * n), False),
        (noisy(0.0, 3, lambda n: 19.0 + 1.6 * math.exp(-n / 100.0)), False),
        (noisy(0.0, 12, lambda n: 20.0 + math.sin(n / 3.0)), False),
        (noisy(0.0, 1, lambda n: 20.9 if n // 20 % 2 else 19.4), False),
        (noisy(0.0, 1), False),
    ],
)
def test_only_noise_above_the_step_is_a_flicker(
    values: Iterator[float], flickers: bool
) -> None:
    """Neither a curve nor a step is noise, nor is a file that repeats its values."""
    assert learnt(values).flickers is flickers


def test_what_stands_teaches_nothing() -> None:
    """Else a column that died would be forgiven for being dead."""
    alive = learnt(noisy(0.02, 2))
    assert learnt(itertools.chain(noisy(0.02, 2), [20.6] * 5000)).flickers
    moved = learnt(itertools.chain(noisy(0.02, 2), [20.6] * 5000, [20.7]))
    assert alive.flickers
    assert not moved.flickers, "it lived, and stood all the same"


def test_nothing_is_said_of_a_column_that_was_hardly_seen() -> None:
    """Half a minute of flicker is no habit."""
    few = itertools.islice(noisy(0.05, 2), LEAST_COUNT - 1)
    assert not learnt(few).flickers
