"""What a decision costs: `python -m tests.bench.decision [--no-trend]`.

Steps the example cabin with the packaged limits, a full past behind it, at one tick a
second, and prints the mean time of a tick in this process (not counting what other
processes took).  Beside it the floor: as many float comparisons as there are pairs of
an alarm and a series, in plain Python.
"""

import random
import sys
import time
from dataclasses import replace

from cabinvigil.daemon.compose.compose import compose
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.model import Air
from cabinvigil.daemon.core.setup import Setup
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers.kit.quantity import split_channel

TICKS = 3000
USUAL = {
    "o2_pct": 20.7,
    "o2_hpa": 195.0,
    "co_ppm": 2.0,
    "co2_ppm": 1500.0,
    "temp_c": 18.0,
    "rh_pct": 55.0,
    "pressure_hpa": 940.0,
    "supply_v": 12.6,
    "supply_a": -0.5,
}
"""A quiet night's air; noise of five parts in ten thousand is laid over it."""


def setup_of(*, with_trend: bool) -> Setup:
    """The example cabin with all its packaged alarms."""
    cabin = example()
    infos = part_infos(cabin.parts)
    setup = compose(cabin.cabin, cabin.parts, infos, cabin.alarms, renderer()).setup
    return setup if with_trend else replace(setup, trend=None)


def ticks(setup: Setup, count: int, seed: int) -> list[Air]:
    """So many ticks in which every series has a new value."""
    rng = random.Random(seed)
    found = {key: split_channel(key) for key in setup.layout.series}
    usual = {key: USUAL.get(q[0].name, 1.0) for key, q in found.items() if q}
    return [
        Air({key: rng.gauss(value, abs(value) * 5e-4) for key, value in usual.items()})
        for _ in range(count)
    ]


def settled(setup: Setup) -> State:
    """A state with ten hours behind it."""
    state = start(setup, 0.0)
    for minute, air in enumerate(ticks(setup, 600, seed=1)):
        state, _ = step(state, air, minute * 60.0)
    return state


def mean_ms(setup: Setup) -> float:
    """Mean process time of a tick, in ms."""
    state = settled(setup)
    now, airs = state.history.now, ticks(setup, TICKS, seed=2)
    began_s = time.process_time()
    for air in airs:
        now += 1.0
        state, _ = step(state, air, now)
    return (time.process_time() - began_s) / TICKS * 1e3


def floor_ms(setup: Setup) -> float:
    """Mean process time of the bare comparisons of a tick, in ms."""
    values, limits = (
        list(range(len(setup.layout.series))),
        list(range(len(setup.alarms))),
    )
    began_s = time.process_time()
    count = 0
    for _ in range(TICKS):
        for value in values:
            for limit in limits:
                if value >= limit:
                    count += 1
    return (time.process_time() - began_s) / TICKS * 1e3


def main() -> None:
    """Measure, and print one line."""
    setup = setup_of(with_trend="--no-trend" not in sys.argv[1:])
    trend = "with" if setup.trend else "without"
    size = (
        f"{len(setup.alarms)} alarms, {len(setup.layout.series)} series, {trend} trend"
    )
    cost_ms, bare_ms = mean_ms(setup), floor_ms(setup)
    print(f"{size}: {cost_ms:.3f} ms a tick; bare comparisons {bare_ms:.3f} ms")


if __name__ == "__main__":
    main()
