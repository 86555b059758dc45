"""A mean over hours goes on across a restart: what was breathed was breathed."""

import json
from typing import Any

import pytest

from cabinvigil.daemon.core.history import KEPT_MINUTES, Series
from cabinvigil.daemon.core.model import AlarmState, Priority
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.core.snapshot import minutes_from_plain, restore, to_plain
from cabinvigil.daemon.rules import level
from tests.core.scenario import Night, cabin, series

S = AlarmState
EIGHT_H_S = 28_800.0
OUTDOOR_PPM = 420.0


def stale_air() -> Setup:
    """The eight-hour step of the packaged co2-level, alone, on a CO2 series."""
    params = level.Params(
        "co2_ppm",
        "above",
        [level.LevelStep(5_000.0, "medium", over_s=EIGHT_H_S)],
        dead_band=300.0,
        before=OUTDOOR_PPM,
    )
    spec = AlarmSpec("co2-level", "level", params, level.judge, off_delay_s=120.0)
    return cabin(spec, keys=[series("co2_ppm", mean_s=EIGHT_H_S), "o2_pct"])


def again(night: Night, down_s: Any) -> Night:
    """Kill the watch and start it again, through JSON, at a clock that begins anew."""
    plain = json.loads(json.dumps(to_plain(night.state), allow_nan=False))
    new = Night(night.setup)
    new.state, lost = restore(night.setup, plain, 0.0, down_s=down_s)
    assert lost == []
    return new


def mean(night: Night, over_s: float = EIGHT_H_S) -> float | None:
    return night.state.history.mean("co2_ppm", over_s, OUTDOOR_PPM)


@pytest.mark.parametrize("down_s", [5.0, 50.0, 3600.0, None])
def test_the_mean_is_the_same_as_without_the_restart(down_s: float | None) -> None:
    """Four hours at 9 000, a time down, and on: as if the time down had been like it.

    Worked by hand: 4 h and the time down at 9 000, the rest of eight hours outdoors.
    """
    night = Night(stale_air())
    night.hold({"co2_ppm": 9_000.0}, 4 * 3600.0)
    new = again(night, down_s)
    new.hold({"co2_ppm": 9_000.0}, 120.0)
    known_s = 4 * 3600.0 + (down_s or 0.0) + 120.0
    by_hand = (9_000.0 * known_s + OUTDOOR_PPM * (EIGHT_H_S - known_s)) / EIGHT_H_S
    assert mean(new) == pytest.approx(by_hand, abs=9_000.0 * 90.0 / EIGHT_H_S)


def test_a_restart_at_night_does_not_end_the_alarm() -> None:
    """5 000 over eight hours stands; after the restart it still does, for hours.

    Until the air is good again: a mean tells of air that is still bad.
    """
    night = Night(stale_air())
    night.hold({"co2_ppm": 7_000.0}, 6.5 * 3600.0)
    assert night.now_in("co2-level") == "unacknowledged"
    new = again(night, 20.0)
    new.hold({"co2_ppm": 5_200.0}, 2 * 3600.0)
    assert new.now_in("co2-level") == "unacknowledged"
    assert new.standing("co2-level").priority is Priority.MEDIUM
    new.hold({"co2_ppm": 500.0}, 1200.0)
    assert (mean(new) or 0.0) > 5_000.0
    assert new.now_in("co2-level") == "returned-unacknowledged"


def test_a_night_ago_is_forgotten() -> None:
    """Down for the day: the evening begins from outdoor air."""
    night = Night(stale_air())
    night.hold({"co2_ppm": 9_000.0}, 8 * 3600.0, 60.0)
    new = again(night, 16 * 3600.0)
    new.hold({"co2_ppm": 500.0}, 180.0)
    found = mean(new)
    assert found is not None
    assert found < 501.0


def test_minutes_without_a_reading_stay_unknown() -> None:
    """A gap before the restart is a gap after it."""
    night = Night(stale_air())
    night.hold({"co2_ppm": 1_000.0}, 180.0)
    night.hold({"o2_pct": 20.6}, 120.0)
    night.hold({"co2_ppm": 2_000.0}, 60.0)
    plain = to_plain(night.state)["minutes"]
    assert plain == {"co2_ppm": [1000.0, 1000.0, 1000.0, 1000.0, None, 2000.0, 2000.0]}
    kept = again(night, 0.0).state.history.series["co2_ppm"].minutes
    assert [value for _, value in kept] == [1000.0] * 4 + [2000.0] * 2
    assert kept[4][0] - kept[3][0] == 120.0


def test_each_minute_stands_once() -> None:
    """Restarted within the minute that was being gathered, and again."""
    night = Night(stale_air())
    for _ in range(4):
        night.hold({"co2_ppm": 1_000.0}, 90.0)
        night = again(night, 0.0)
    night.hold({"co2_ppm": 1_000.0}, 150.0)
    times = [at_s for at_s, _ in night.state.history.series["co2_ppm"].minutes]
    assert times == sorted(set(times))
    assert len(times) >= 8


def test_only_what_a_long_mean_is_taken_of_is_kept() -> None:
    """And no more of it than the longest mean looks back on: the card is small."""
    night = Night(stale_air())
    night.hold({"co2_ppm": 1_000.0, "o2_pct": 20.6}, 9 * 3600.0, 60.0)
    plain = to_plain(night.state)["minutes"]
    assert set(plain) == {"co2_ppm"}
    assert len(plain["co2_ppm"]) == 480
    assert len(json.dumps(plain)) < 5_000


@pytest.mark.parametrize(
    "kept",
    [
        None, 7, [], {"co2_ppm": None}, {"co2_ppm": {}}, {"gone": [1000.0]},
        {"o2_pct": [20.6]}, {"co2_ppm": [True, "9000", None, float("nan"), -5.0, 1e9]},
        {"co2_ppm": []},
    ],
)  # fmt: skip
def test_what_cannot_be_air_is_left_out(kept: Any) -> None:
    """Whatever the file holds: no error, and no minute that no air could give."""
    assert minutes_from_plain(stale_air(), kept, 0.0, 0.0) == {}


def test_no_more_is_read_than_fits() -> None:
    """A file of a million minutes fills no memory."""
    found = minutes_from_plain(stale_air(), {"co2_ppm": [500.0] * 10**6}, 0.0, 0.0)
    (past,) = found.values()
    assert isinstance(past, Series)
    assert len(past.minutes) == KEPT_MINUTES
