"""What a part has rested at, and for how long, outlives a restart.

A week without a flicker is the CO module's figure (`drivers/frame9_co.py`).
"""

import json
import math
from typing import Any

import pytest

from cabinvigil.daemon.core.model import AlarmState, Priority
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.core.snapshot import restore, to_plain
from cabinvigil.daemon.rules import stuck
from tests.core.scenario import Night, cabin, series

HOUR_S = 3600.0
CO = series("co_ppm", stuck_s=604_800.0, resolution=0.1, noise=0.3, max_age_s=90.0)
O2 = series("o2_pct", stuck_s=3600.0, resolution=0.1, noise=0.05, max_age_s=90.0)


def watch() -> Setup:
    spec = AlarmSpec("sensor-stuck", "stuck", stuck.Params("co_ppm"), stuck.judge)
    return cabin(spec, keys=[CO, O2])


def again(night: Night, **change: Any) -> Night:
    """Off by day: killed, and started again, through JSON, at a clock that begins."""
    plain = json.loads(json.dumps({**to_plain(night.state), **change}, allow_nan=False))
    new = Night(night.setup)
    new.state, lost = restore(night.setup, plain, 0.0, down_s=14 * HOUR_S)
    assert lost == []
    return new


def nights(count: int, values: list[float]) -> Night:
    """So many nights of ten hours, at these values of CO in turn."""
    night = Night(watch())
    for n in range(count):
        night = again(night) if n else night
        night.hold({"co_ppm": values[n % len(values)]}, 10 * HOUR_S, 60.0)
    return night


@pytest.mark.hazard("blind-part")
def test_a_pi_that_is_off_by_day_finds_a_part_that_is_stuck() -> None:
    """Seven days of standing, seen over seventeen nights of ten hours."""
    assert nights(16, [0.0]).now_in("sensor-stuck") == AlarmState.NORMAL.value
    found = nights(17, [0.0])
    assert found.now_in("sensor-stuck") == AlarmState.UNACKNOWLEDGED.value
    assert found.standing("sensor-stuck").priority is Priority.FAULT


def test_one_that_moved_between_two_nights_lives() -> None:
    """0.1 ppm by morning is a flicker."""
    night = nights(18, [0.0, 0.1])
    assert night.now_in("sensor-stuck") == AlarmState.NORMAL.value


def test_the_hours_without_power_do_not_count() -> None:
    """Nobody saw the part then: a fortnight in the shed proves nothing."""
    night = Night(watch())
    night.hold({"co_ppm": 0.0}, HOUR_S, 60.0)
    kept = to_plain(night.state)
    new = Night(night.setup)
    new.state, _ = restore(night.setup, kept, 0.0, down_s=336 * HOUR_S)
    new.hold({"co_ppm": 0.0}, HOUR_S, 60.0)
    stood_s = new.now - new.state.history.series["co_ppm"].changed_s
    assert stood_s == pytest.approx(2 * HOUR_S, abs=130.0)


def test_a_run_without_a_reading_loses_nothing() -> None:
    """Started and killed at once: what was known stays known."""
    night = again(again(nights(2, [0.0])))
    still = to_plain(night.state)["still"]
    assert still["co_ppm"][1] == pytest.approx(20 * HOUR_S, abs=250.0)


def test_what_does_not_rest_is_not_kept() -> None:
    """Oxygen that stands is found within its hour, by each run for itself."""
    night = Night(watch())
    night.hold({"co_ppm": 5.0, "o2_pct": 20.9}, HOUR_S / 2.0, 60.0)
    assert to_plain(night.state)["still"] == {}


@pytest.mark.parametrize(
    "kept",
    [
        None,
        7,
        [],
        {"co_ppm": 0.0},
        {"co_ppm": []},
        {"co_ppm": [0.0]},
        {"co_ppm": [None, 1e9]},
        {"co_ppm": ["0", "1"]},
        {"co_ppm": [0.0, True]},
        {"co_ppm": [40.0, 1e6]},
        {"nothing": [0.0, 1e6]},
    ],
)
def test_what_cannot_be_read_is_left_out(kept: Any) -> None:
    """Whatever the file holds, the watch begins; nothing is stuck of it."""
    night = again(nights(1, [0.0]), still=kept)
    assert night.state.history.series["co_ppm"].changed_s == -math.inf
    night.hold({"co_ppm": 0.0}, 600.0, 60.0)
    assert night.now_in("sensor-stuck") == AlarmState.NORMAL.value
