"""How emulated parts are late and drift."""

import math
from random import Random

import pytest

from cabinvigil.daemon.rehearsal.emulated.ways import Drift, Lag


def test_a_lag_reaches_63_percent_in_its_time() -> None:
    """A step is followed to 1 - 1/e after one time constant, whatever the sampling."""
    for steps in (1, 7, 60):
        lag = Lag(60.0)
        lag.follow(0.0, 0.0)
        for n in range(1, steps + 1):
            value = lag.follow(1.0, 60.0 * n / steps)
        assert value == pytest.approx(1 - 1 / math.e, abs=1e-9)


def test_a_drift_keeps_its_spread_and_its_memory() -> None:
    """Over many parts the spread is as told, at the start and long after."""
    drifts = [Drift(Random(n), 2.0, 100.0) for n in range(600)]
    start = [drift.at(0.0) for drift in drifts]
    soon = [drift.at(10.0) for drift in drifts]
    late = [drift.at(1000.0) for drift in drifts]
    for values in (start, soon, late):
        spread = math.sqrt(sum(v * v for v in values) / len(values))
        assert spread == pytest.approx(2.0, rel=0.1)
    likeness = sum(a * b for a, b in zip(start, soon, strict=True)) / 600 / 4.0
    assert likeness == pytest.approx(math.exp(-0.1), abs=0.1)
