"""Only what decides the tried alarms is replayed, and it comes to the same."""

import inspect
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon import rules
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.replay import limits_diff
from cabinvigil.daemon.replay.limits_diff import table
from cabinvigil.daemon.replay.narrowed import Narrowed
from cabinvigil.daemon.replay.other_limits import read_limits
from cabinvigil.daemon.replay.ring_diff import RingDiff
from cabinvigil.daemon.settings.config import example
from tests.replay.cutting import any_night, played
from tests.replay.test_limits_diff import limits

TRIED = (
    '[alarm.co-level]\nsteps = [{ at = 3.0, priority = "low" }]\n',
    '[alarm.o2-low]\nsteps = [{ at = 20.75, priority = "high" }]\n',
    "[alarm.sensor-fault]\non_delay_s = 900.0\n",
    "[alarm.o2-projected]\noff_delay_s = 5.0\n[alarm.cold]\non_delay_s = 3.0\n",
)


def rows(found: list[RingDiff]) -> set[tuple[object, ...]]:
    return {
        (
            one.alarm,
            one.change,
            one.priority,
            *(None if ring is None else round(ring.at_s, 3) for ring in pair),
        )
        for one in found
        for pair in [(one.was, one.would)]
    }


@pytest.mark.usefixtures("nothing_synced")
@pytest.mark.parametrize("seed", range(4))
def test_a_narrowed_replay_tells_what_the_whole_one_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """R16: with what people did, faults, and tests of the parts in half of them."""
    steps = any_night(Random(seed), 1.0)
    if seed % 2:
        steps = [one for one in steps if "BUMP" not in str(getattr(one[1], "kind", ""))]
    files = played(tmp_path / "log", steps, [2000.0])
    tried = read_limits(limits(tmp_path, TRIED[seed]))
    nights = [(path.name, [path]) for path in files]
    quick = list(table(nights, tried))
    monkeypatch.setattr(limits_diff, "_logged", lambda *_: ({}, None))
    whole = list(table(nights, tried))
    assert rows(quick) == rows(whole)
    assert len(whole) > 3
    assert seed >= 2 or any(one.change != "same" for one in whole)


def test_what_is_left_in_is_what_the_alarms_hang_on() -> None:
    setup = compose_settings(example()).setup
    level = Narrowed({"co-level"})
    assert [one.id for one in level(setup).alarms] == ["co-level"]
    assert level(setup).trend is None
    stale = {one.id for one in Narrowed({"sensor-fault"})(setup).alarms}
    assert {"sensor-fault/bunk-o2", "sensor-stale/o2_pct"} <= stale
    assert Narrowed({"o2-projected"})(setup).trend is not None


@pytest.mark.parametrize("kind", rules.kinds())
def test_a_rule_that_asks_the_trend_says_so(kind: str) -> None:
    rule = rules.find(kind)
    asks = "history.trend" in inspect.getsource(rule)
    assert bool(getattr(rule, "BY_TREND", False)) is asks
