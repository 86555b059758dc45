"""What outlives a restart, and how it comes back."""

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.alarm_status import HEARD_S, AlarmStatus
from cabinvigil.daemon.core.dose import Dose
from cabinvigil.daemon.core.engine import step
from cabinvigil.daemon.core.model import (
    Air,
    AlarmState,
    Alert,
    Priority,
    Sound,
    SourceFault,
    Transition,
)
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.core.snapshot import alarm_to_plain, restore, resume, to_plain
from cabinvigil.daemon.core.state import State
from cabinvigil.daemon.rules import source
from tests.core.scenario import Night, cabin, co_level, o2_low, play, series

S, P = AlarmState, Priority


def again(
    night: Night, down_s: Any = 5.0, setup: Setup | None = None
) -> tuple[Night, list[str]]:
    """Kill the watch and start it again, through JSON, at another clock."""
    plain = json.loads(json.dumps(to_plain(night.state), allow_nan=False))
    new = Night(setup or night.setup, now=1000.0)
    new.state, lost = restore(new.setup, plain, 1000.0, down_s=down_s)
    new.said = [(1000.0, command) for command in resume(new.state, 1000.0)]
    return new, lost


@pytest.mark.hazard("silenced-by-restart")
def test_what_stood_unacknowledged_sounds_at_once() -> None:
    """First after a kill the sound, then the states; with the first step the phone."""
    night = play("20.9 19.4 19.4")
    new, lost = again(night)
    text = "o2-low high  o2_pct=19.4 limit=19.5"
    since_s = 1000.0 - (30.0 - 20.0) - 5.0
    was = S.UNACKNOWLEDGED
    assert [command for _, command in new.said] == [
        Sound("temporal-four", "o2-low"),
        Transition("o2-low", was, was, P.HIGH, text, since_s, first_up=True),
    ]
    assert lost == []
    assert Alert("o2-low", P.HIGH, text, 0, 6 * 3600.0) in new.air({"o2_pct": 19.4})


def test_what_is_normal_hides_nothing_that_stands_behind_it() -> None:
    """The first alarm of the config is quiet, the second is not."""
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold({"co_ppm": 0.0, "o2_pct": 19.0}, 30.0)
    new, _ = again(night)
    assert [t.alarm for t in new.transitions()] == ["o2-low"]
    new.air({})
    assert [a.alarm for _, a in new.alerts()] == ["o2-low"]


def test_with_nothing_standing_the_sound_alone_is_said() -> None:
    """Quiet, and no state: whatever the buzzer did before."""
    new, _ = again(play("20.9 20.9"))
    assert new.said == [(1000.0, Sound("quiet"))]


def test_it_stands_until_a_good_reading_clears_it() -> None:
    """Warming up or dumb after the restart: still in alarm, still sounding."""
    new, _ = again(play("20.9 19.4 19.4"))
    assert new.standing().in_doubt
    new.play("_ _ 20.9? 20.9?")
    assert new.now_in() == "unacknowledged"
    assert new.standing().in_doubt
    new.play("20.9 " * 7)
    assert new.now_in() == "latched-unacknowledged"
    assert not new.standing().in_doubt


def test_an_answer_comes_back_with_the_rest_of_its_quiet_time() -> None:
    """Two of five minutes used, one down: two are left."""
    night = play("20.9 19.4 19.4 ack 19.4 19.4 19.4 19.4 19.4 19.4" + " 19.4" * 6)
    new, _ = again(night, down_s=60.0)
    assert new.now_in() == "acknowledged"
    assert new.said == [
        (1000.0, Sound("quiet")),
        (1000.0, new.transitions()[0]),
    ]
    while new.now_in() == "acknowledged":
        new.air({"o2_pct": 19.4}, 2.0)
    assert new.now == 1000.0 + 300.0 - (120.0 - HEARD_S) - 60.0


@pytest.mark.hazard("silenced-by-restart")
@pytest.mark.parametrize("down_s", [None, -3.0, math.nan, math.inf, "?", True, 300.0])
def test_an_answer_whose_quiet_time_is_in_doubt_sounds(down_s: Any) -> None:
    """Down for an unknown time, or for longer than was left: unacknowledged."""
    new, _ = again(play("20.9 19.4 19.4 ack"), down_s=down_s)
    assert new.now_in() == "unacknowledged"
    assert new.state.sound.pattern == "temporal-four"


def test_an_answer_no_reading_confirmed_does_not_outlive_a_second_restart() -> None:
    """Twice killed with dumb sensors: what was in doubt sounds."""
    once, _ = again(play("20.9 19.4 19.4 ack"))
    assert once.now_in() == "acknowledged"
    twice, _ = again(once)
    assert twice.now_in() == "unacknowledged"
    seen, _ = again(play("20.9 19.4 19.4 ack"))
    seen.play("19.4")
    thrice, _ = again(seen)
    assert thrice.now_in() == "acknowledged"


def test_a_further_step_that_was_answered_is_no_news_after_a_restart() -> None:
    """It was told, and somebody answered it: the quiet time goes on."""
    new, _ = again(play("20.9 17.9 17.9 ack 17.9"))
    new.play("17.9 17.9")
    assert new.now_in() == "acknowledged"


def test_a_quiet_time_never_exceeds_the_alarms_own() -> None:
    """The limit was made stricter meanwhile: the stricter one holds."""
    night = play("20.9 19.4 19.4 ack", cabin(o2_low(ack_s=900.0)))
    new, _ = again(night, setup=cabin(o2_low(ack_s=60.0)))
    assert new.standing().quiet_until_s == 1060.0


@pytest.mark.parametrize("ticks", ["20.9 " * 7, "20.9 " * 7 + "_ _ _ _ ack"])
def test_latched_alarms_come_back_latched(ticks: str) -> None:
    """Unanswered it sounds on; answered it resets with the first good reading."""
    night = play("20.9 19.4 " + ticks)
    new, _ = again(night, down_s=None)
    assert new.now_in() == night.now_in()
    assert new.state.sound == replace(night.state.sound, louder=False)
    new.play("ack" if "ack" not in ticks else "20.9")
    new.play("20.9")
    assert new.now_in() == "normal"


def test_what_returned_unseen_is_still_unseen() -> None:
    """State D: silent, and on the page."""
    setup = cabin(o2_low(latch=False))
    new, _ = again(play("20.9 19.4 " + "20.9 " * 7, setup))
    assert new.now_in() == "returned-unacknowledged"
    assert new.state.sound.pattern == "quiet"


def test_nobody_answered_before_the_kill_and_nobody_after() -> None:
    """The time without an answer runs on: the second topic comes when it is due."""
    night = play("20.9 19.4" + " 19.4" * 20)
    new, _ = again(night, down_s=60.0)
    assert new.state.sound.louder
    new.hold({"o2_pct": 19.4}, 60.0)
    rang_at = 1000.0 - 200.0 - 60.0
    assert [(at - rang_at, a.escalation) for at, a in new.alerts()] == [
        (270.0, 0),
        (300.0, 2),
    ]


def test_shelving_goes_on_for_the_rest_of_its_time() -> None:
    """Bounded before the restart, bounded after it."""
    setup = cabin(co_level(gravest=P.LOW, ack_s=3600.0), keys=["co_ppm"])
    night = play("0 80 shelve:600 80", setup, key="co_ppm", alarm="co-level")
    new, _ = again(night, down_s=100.0)
    assert new.now_in("co-level") == "shelved"
    left_s = 600.0 - (10.0 - HEARD_S) - 100.0
    assert new.standing("co-level").aside_until_s == 1000.0 + left_s
    assert new.standing("co-level").priority_while_shelved is P.MEDIUM
    for down_s in (None, left_s + 100.0):
        late, _ = again(night, down_s=down_s)
        assert late.now_in("co-level") == "unacknowledged"
        assert late.state.sound.pattern == "three-pulse"


def test_shelving_without_a_condition_ends_as_normal() -> None:
    """Nothing stood when the time was over: nothing rings."""
    setup = cabin(co_level(gravest=P.LOW, ack_s=3600.0), keys=["co_ppm"])
    night = play("0 shelve:600 0", setup, key="co_ppm", alarm="co-level")
    assert again(night, down_s=None)[0].now_in("co-level") == "normal"
    stricter = cabin(co_level(shelve_s=0.0), keys=["co_ppm"])
    assert again(night, setup=stricter)[0].now_in("co-level") == "normal"


def faulty(**changes: Any) -> Setup:
    known: dict[str, Any] = {"removable": True, "about_air": False}
    cell = AlarmSpec(
        "sensor-fault/cell",
        "source",
        source.Params("cell"),
        source.judge,
        **(known | changes),
    )
    bus = AlarmSpec("bus", "source", source.Params("bus"), source.judge)
    return cabin(bus, cell)


def test_out_of_service_stays_where_it_is_still_allowed() -> None:
    """Until ended; a restart does not end it, a stricter config does."""
    night = Night(faulty())
    night.act("remove", "sensor-fault/cell")
    assert again(night)[0].now_in("sensor-fault/cell") == "out-of-service"
    strict = faulty(removable=False)
    assert again(night, setup=strict)[0].now_in("sensor-fault/cell") == "normal"


def test_a_suppressed_fault_stays_so_while_its_cover_stands() -> None:
    """One cause, one chirp, after a restart too; without its cover it rings."""
    covered = faulty(suppressed_by=("bus",))
    night = Night(covered)
    night.take(SourceFault("bus", "bus-stuck", "stuck"))
    night.take(SourceFault("cell", "absent", "gone"))
    assert night.now_in("sensor-fault/cell") == "suppressed"
    assert again(night)[0].now_in("sensor-fault/cell") == "suppressed"
    assert again(night, setup=faulty())[0].now_in("sensor-fault/cell") == (
        "unacknowledged"
    )


def test_alarms_that_are_gone_are_said() -> None:
    """The config no longer has the alarm that stood: dropped, and told."""
    night = play("20.9 19.4 19.4")
    new, lost = again(night, setup=cabin(co_level()))
    assert lost == ["o2-low was active, and is no longer an alarm"]
    assert new.said == [(1000.0, Sound("quiet"))]


def test_an_alarm_behind_one_that_is_gone_still_comes_back() -> None:
    """What the config dropped takes nothing else with it."""
    plain = to_plain(play("20.9 19.4 19.4").state)
    plain["alarms"] = {"no-more": {}, **plain["alarms"]}
    state, lost = restore(cabin(o2_low()), plain, 1000.0, down_s=5.0)
    assert state.standings["o2-low"].state is S.UNACKNOWLEDGED
    assert state.sound == Sound("temporal-four", "o2-low")
    assert lost == ["no-more was active, and is no longer an alarm"]
    plain["alarms"] = {"x" * 99: {}}
    assert restore(cabin(o2_low()), plain, 1000.0, down_s=5.0)[1] == [
        f"{'x' * 80} was active, and is no longer an alarm"
    ]


def test_an_all_clear_that_is_owed_is_still_owed() -> None:
    """Sent out before the kill, told after it when the air is clear."""
    night = play("20.9 19.4 19.4 " + "20.9 " * 8)
    new, _ = again(night)
    new.act("ack")
    new.hold({"o2_pct": 20.9}, 800.0)  # the last text of three is for what wakes
    assert [a.alarm for _, a in new.alerts()][-1] == "all-clear"


@pytest.mark.parametrize("plain", [None, [], "1", {}, {"version": 2}, {"version": "1"}])
def test_what_is_of_no_known_version_starts_from_nothing(plain: Any) -> None:
    """Said in one sentence; the watch starts all the same."""
    state, lost = restore(cabin(o2_low()), plain, 5.0, down_s=1.0)
    assert lost == ["the kept state is of no known version: nothing is taken over"]
    assert state.standings["o2-low"].state is S.NORMAL


@pytest.mark.parametrize(
    "kept",
    [None, {}, "x", {"state": "asleep"}, {"state": 7}, {"state": "unacknowledged"}],
)
def test_what_cannot_be_read_of_an_alarm_is_taken_as_standing(kept: Any) -> None:
    """In doubt: unacknowledged, and it wakes people."""
    plain = {"version": 1, "alarms": {"o2-low": kept}}
    state, _ = restore(cabin(o2_low()), plain, 5.0, down_s=1.0)
    standing = state.standings["o2-low"]
    assert (standing.state, standing.priority) == (S.UNACKNOWLEDGED, P.MEDIUM)
    assert state.sound.pattern == "three-pulse"
    assert state.history.dose == Dose()


def test_without_readable_alarms_it_says_so() -> None:
    """A dose alone is taken over."""
    plain = {"version": 1, "alarms": 3, "dose": {"cohb_pct": 4.0}, "airing": [[], "x"]}
    state, lost = restore(cabin(o2_low()), plain, 5.0, down_s=None)
    assert lost == ["the kept state has no alarms that can be read"]
    assert state.history.dose == Dose(4.0, 0.0)
    assert state.all_clear_owed == frozenset()


@pytest.mark.hazard("silenced-by-restart")
def test_a_hidden_high_does_not_stay_on_the_shelf() -> None:
    """Not even a kept state written by hand silences a `high`."""
    kept = {
        "state": "shelved",
        "priority": "high",
        "hidden": "high",
        "aside_left_s": 600.0,
        "in_doubt": False,
    }
    plain = {"version": 1, "alarms": {"o2-low": kept}}
    state, _ = restore(cabin(o2_low()), plain, 5.0, down_s=1.0)
    assert state.sound.pattern == "temporal-four"


@pytest.mark.hazard("silenced-by-restart")
def test_an_alarm_outlives_a_kill_after_every_tick() -> None:
    """Neither lost nor cleared: the minute of good air begins anew with each start."""
    night = play("20.9")
    for word in [
        "19.4",
        "19.4",
        "ack",
        "19.4",
        "18.8",
        "20.9",
        "20.9",
        "20.9",
        "20.9",
        "20.9",
        "20.9",
        "20.9",
    ]:
        night.play(word)
        night, _ = again(night, down_s=0.0)
    assert night.now_in() == "unacknowledged"
    assert night.state.sound.pattern == "temporal-four"


JSONISH = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=True)
    | st.sampled_from([s.value for s in S] + [p.word for p in P] + ["", "o2-low"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=5,
)
FULL = AlarmStatus(quiet_until_s=0.0, aside_until_s=0.0, severity_when_rung=0.0)
KEYS = list(alarm_to_plain(FULL, 0.0))


@settings(max_examples=100, deadline=None)
@given(
    st.fixed_dictionaries(
        {"version": st.just(1)},
        optional={
            "alarms": st.dictionaries(
                st.sampled_from(["o2-low", "co-level", "gone"]),
                st.dictionaries(st.sampled_from(KEYS), JSONISH, max_size=13) | JSONISH,
            ),
            "dose": st.dictionaries(
                st.sampled_from(["cohb_pct", "alarm_fraction"]), JSONISH
            )
            | JSONISH,
            "airing": JSONISH,
            "minutes": st.dictionaries(st.sampled_from(["co_ppm"]), JSONISH) | JSONISH,
        },
    ),
    JSONISH,
)
def test_whatever_was_kept_the_watch_starts_and_goes_on(
    plain: dict[str, Any], down_s: Any
) -> None:
    """Any JSON: a state, no error, and a step after it that works."""
    co = series("co_ppm", mean_s=3600.0)
    setup = cabin(o2_low(), co_level(), keys=["o2_pct", co])
    state, lost = restore(setup, plain, 5.0, down_s=down_s)
    assert isinstance(state, State)
    assert all(isinstance(sentence, str) for sentence in lost)
    assert resume(state, 5.0)[0] == state.sound
    for now in (15.0, 25.0):
        state, _ = step(state, Air({"o2_pct": 19.0, "co_ppm": 0.0}), now)
    assert state.standings["o2-low"].state in (S.UNACKNOWLEDGED, S.ACKNOWLEDGED)
    json.dumps(to_plain(state), allow_nan=False)
