"""An answer is to what stands at that moment, and was heard."""

import pytest

from cabinvigil.daemon.core.alarm_status import HEARD_S
from cabinvigil.daemon.core.model import Act, ActKind, Priority
from tests.core.scenario import FailingTrend, Night, cabin, co_level, ladder, o2_low

P = Priority


def co(**changes: float) -> Night:
    return Night(cabin(co_level(**changes), keys=["co_ppm"]))


@pytest.mark.hazard("silenced-by-answer")
def test_an_answer_in_good_air_does_not_silence_the_next_rise() -> None:
    """Pressed at 0 ppm, while the alarm waits to clear; then 400 ppm."""
    night = co()
    night.hold({"co_ppm": 210.0}, 20.0)
    night.hold({"co_ppm": 0.0}, 20.0)
    night.act("ack")
    night.hold({"co_ppm": 400.0}, 20.0)
    assert night.now_in("co-level") == "unacknowledged"
    assert night.state.sound.pattern == "temporal-four"


@pytest.mark.hazard("silenced-by-answer")
def test_an_answer_is_to_how_bad_it_was_then() -> None:
    """Rung at 260 ppm, answered at 205: 258 is fifty more than when it was answered."""
    night = co()
    night.hold({"co_ppm": 260.0}, 20.0)
    night.hold({"co_ppm": 205.0}, 20.0)
    night.act("ack")
    night.hold({"co_ppm": 205.0}, 20.0)
    night.hold({"co_ppm": 258.0}, 20.0)
    assert night.now_in("co-level") == "unacknowledged"


@pytest.mark.hazard("silenced-by-answer")
@pytest.mark.parametrize("late_s", [0.0, 0.2, HEARD_S - 0.1])
def test_a_press_that_came_too_soon_was_meant_for_something_else(late_s: float) -> None:
    """A chirp, a hand on its way to the button, and the danger begins."""
    night = co()
    night.hold({"co_ppm": 0.0}, 20.0)
    night.air({"co_ppm": 210.0})
    night.take(Act(ActKind.ACKNOWLEDGE), late_s)
    assert night.state.sound.pattern == "temporal-four"
    night.take(Act(ActKind.ACKNOWLEDGE), HEARD_S)
    assert night.state.sound.pattern == "quiet"


@pytest.mark.hazard("silenced-by-phone")
@pytest.mark.parametrize("by", ["phone", "socket"])
def test_an_answer_given_before_it_rang_is_none(by: str) -> None:
    """A bridge may deliver it a minute late: it was an answer to something else."""
    night = co()
    night.hold({"co_ppm": 0.0}, 60.0)
    night.hold({"co_ppm": 210.0}, 20.0)
    night.take(Act(ActKind.ACKNOWLEDGE, by=by, age_s=40.0), 5.0)
    assert night.state.sound.pattern == "temporal-four"
    night.take(Act(ActKind.ACKNOWLEDGE, by=by, age_s=3.0), 5.0)
    assert night.state.sound.pattern == "quiet"


@pytest.mark.hazard("silenced-by-button")
@pytest.mark.parametrize("co_ppm", [210.0, 80.0])
def test_a_button_that_chatters_is_a_fault_and_answers_no_danger(co_ppm: float) -> None:
    """Twice a second for half an hour: it sounds all the same, and somebody is told.

    So it does where people are to be woken, and are in no danger yet.
    """
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    quiet_s = 0.0
    for _ in range(1800):
        night.air({"co_ppm": co_ppm, "o2_pct": 20.9}, 0.5)
        night.take(Act(ActKind.ACKNOWLEDGE), 0.5)
        quiet_s += 1.0 if night.state.sound.pattern == "quiet" else 0.0
    assert quiet_s <= 20.0, "before it is found out, and before the danger rings"
    assert night.state.history.sources["button"].kind == "chattering"
    assert any(one.escalation == 2 for _, one in night.alerts())
    night.hold({"co_ppm": co_ppm, "o2_pct": 20.9}, 120.0)
    assert "button" not in night.state.history.sources, "it has been quiet for a minute"
    night.act("ack")
    assert night.state.sound.pattern == "quiet", "a person's press counts again"


@pytest.mark.hazard("silenced-by-button")
def test_what_it_quieted_before_it_was_found_out_rings_again() -> None:
    """Six presses were taken for a person's: the seventh takes their quiet time back.

    The answer that a person gave before them stays one.
    """
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold({"co_ppm": 0.0, "o2_pct": 17.5}, 20.0)
    night.act("ack")
    night.hold({"co_ppm": 0.0, "o2_pct": 17.5}, 70.0)
    night.hold({"co_ppm": 210.0, "o2_pct": 17.5}, 20.0)
    for press in range(7):
        assert night.state.sound.pattern == ("quiet" if press else "temporal-four")
        night.take(Act(ActKind.ACKNOWLEDGE), 5.0)
    assert night.state.sound.pattern == "temporal-four"
    assert night.now_in("co-level") == "unacknowledged"
    assert night.now_in("o2-low") == "acknowledged"
    night.hold({"co_ppm": 210.0, "o2_pct": 17.5}, 20.0)
    assert night.state.sound.pattern == "temporal-four"
    night.act("ack", by="phone")
    assert night.state.sound.pattern == "quiet", "a phone still answers"


@pytest.mark.hazard("silenced-by-button")
def test_a_person_who_presses_five_times_a_minute_is_heard() -> None:
    """In a fright one presses more than once."""
    night = co()
    night.hold({"co_ppm": 210.0}, 20.0)
    for _ in range(5):
        night.take(Act(ActKind.ACKNOWLEDGE), 5.0)
    assert night.now_in("co-level") == "acknowledged"
    assert "button" not in night.state.history.sources


@pytest.mark.hazard("silenced-by-shelving")
@pytest.mark.parametrize("by", ["phone", "socket", "button"])
def test_what_can_wake_is_shelved_by_nobody_standing_or_not(by: str) -> None:
    """Beforehand, all of them: the danger sounds when it comes."""
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold({"co_ppm": 0.0, "o2_pct": 20.9}, 20.0)
    for alarm in ("co-level", "o2-low"):
        night.take(Act(ActKind.SHELVE, alarm, by, for_s=3600.0), 1.0)
    night.hold({"co_ppm": 80.0, "o2_pct": 20.9}, 20.0)
    assert night.state.sound.pattern == "three-pulse"
    night.take(Act(ActKind.SHELVE, "co-level", by, for_s=3600.0), 1.0)
    assert night.state.sound.pattern == "three-pulse"


@pytest.mark.hazard("silenced-by-shelving")
def test_a_light_alarm_is_shelved_no_longer_than_an_answer_quiets() -> None:
    """From a phone a fault is put off for its own quiet time at most."""
    cold = ladder("cold", "temp_c", (30.0, "low"), gravest=P.LOW, ack_s=600.0)
    night = Night(cabin(cold, keys=["temp_c"]))
    night.hold({"temp_c": 35.0}, 20.0)
    night.take(Act(ActKind.SHELVE, "cold", "phone", for_s=86_400.0), 1.0)
    assert night.standing("cold").aside_until_s == night.now + 600.0


@pytest.mark.hazard("silenced-by-reload")
def test_an_alarm_whose_part_was_taken_away_ends_when_it_is_answered() -> None:
    """It could clear by no reading; what is left is the fault that nothing measures."""
    from cabinvigil.daemon.core.snapshot import carry_over

    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold({"co_ppm": 80.0, "o2_pct": 20.9}, 20.0)
    setup = cabin(co_level(), o2_low(), keys=["o2_pct"])
    state, _ = carry_over(night.state, setup, night.now)
    new = Night(setup, now=night.now)
    new.state = state
    new.hold({"o2_pct": 20.9}, 60.0)
    assert new.now_in("co-level") == "unacknowledged", "no time alone ends it"
    assert new.state.history.sources["settings"].kind == "unwatched"
    new.act("ack")
    new.hold({"o2_pct": 20.9}, 60.0)
    assert new.now_in("co-level") == "normal"


@pytest.mark.hazard("silenced-by-reload")
@pytest.mark.parametrize("by", ["button", "phone"])
def test_whatever_it_was_an_answer_ends_what_nothing_measures(by: str) -> None:
    """Nothing quiets 700 ppm; but that it is 700 ppm still, nobody can know."""
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold({"co_ppm": 700.0, "o2_pct": 20.9}, 20.0)
    night.hold({"o2_pct": 20.9}, 590.0)
    night.act("ack")
    assert night.state.sound.pattern == "temporal-four", "it was measured of late"
    night.hold({"o2_pct": 20.9}, 300.0)
    assert night.state.sound.pattern == "temporal-four"
    night.act("ack", by=by)
    assert night.now_in("co-level") == "normal"
    assert night.state.sound.pattern == "quiet"
    night.hold({"co_ppm": 700.0, "o2_pct": 20.9}, 20.0)
    assert night.state.sound.pattern == "temporal-four", "it is measured again"


def test_an_answered_latch_ends_though_nothing_measures_any_more() -> None:
    """The danger was over when the part was lost: nothing is left to wait for."""
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold({"co_ppm": 210.0, "o2_pct": 20.9}, 20.0)
    night.hold({"co_ppm": 0.0, "o2_pct": 20.9}, 120.0)
    assert night.now_in("co-level") == "latched-unacknowledged"
    night.hold({"o2_pct": 20.9}, 660.0)
    assert night.now_in("co-level") == "latched-unacknowledged"
    night.act("ack")
    assert night.now_in("co-level") == "normal"


@pytest.mark.hazard("broken-rule")
def test_a_bug_in_the_trend_is_a_fault_and_no_end() -> None:
    """The limits go on; the trend begins anew, and is well with its first estimate."""
    trend = FailingTrend()
    night = Night(cabin(co_level(), keys=["co_ppm"], trend=trend))
    night.hold({"co_ppm": 0.0}, 60.0)
    assert night.state.history.sources["trend"].kind == "failed"
    night.hold({"co_ppm": 210.0}, 10.0)
    assert night.state.sound.pattern == "temporal-four"
    trend.fails = False
    night.hold({"co_ppm": 0.0}, 60.0)
    assert "trend" not in night.state.history.sources


@pytest.mark.hazard("nobody-answers")
def test_the_sounder_is_tested_once_in_ten_minutes() -> None:
    """93 tests in 14 minutes are no test: the last would be the danger nobody heeds."""
    night = co()
    for _ in range(90):
        night.air({"co_ppm": 0.0}, 8.0)
        night.take(Act(ActKind.TEST, by="phone"), 1.0)
    assert [pattern for _, pattern in night.sounds()] == ["test", "test"]
