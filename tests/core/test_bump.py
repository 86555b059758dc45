"""The bump test: it sounds, no phone is told of it, and it hides no danger for long."""

import pytest

from cabinvigil.daemon.core.bump import AT_MOST, BUMP_S
from cabinvigil.daemon.core.model import Act, ActKind
from tests.core.scenario import Night, cabin, co_level, o2_low

BREATH = {"co_ppm": 0.0, "o2_pct": 17.0}
AIR = {"co_ppm": 0.0, "o2_pct": 20.9}


def evening() -> Night:
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold(AIR, 60.0)
    return night


def bump(night: Night, by: str = "socket") -> None:
    night.take(Act(ActKind.BUMP_TEST, by=by), 1.0)


def ended(night: Night) -> None:
    night.take(Act(ActKind.BUMP_END, by="socket"), 1.0)


def through_a_test() -> Night:
    night = evening()
    bump(night)
    night.hold(BREATH, 20.0)
    night.hold(AIR, 60.0)
    night.act("ack", by="socket")
    night.hold(AIR, 5.0)
    ended(night)
    return night


def test_it_sounds_and_no_phone_hears_of_it() -> None:
    night = through_a_test()
    assert "temporal-four" in [pattern for _, pattern in night.sounds()]
    night.hold(AIR, 1800.0)
    assert night.alerts() == [], "nor an all-clear afterwards"
    assert not night.state.all_clear_owed
    states = [one.fields["state"] for one in night.records("bump-test")]
    assert states == ["begun", "ended"]


@pytest.mark.parametrize("text", ["breath", "gas", "", "perfume"])
def test_what_is_held_to_the_parts_is_said_where_it_is_known(text: str) -> None:
    night = evening()
    night.take(Act(ActKind.BUMP_TEST, by="socket", text=text), 1.0)
    (begun,) = night.records("bump-test")
    assert begun.fields.get("by", "") == (text if text != "perfume" else "")


@pytest.mark.hazard("silenced-by-test")
def test_a_danger_that_begins_in_it_is_told_when_it_ends() -> None:
    """Nobody ended it: it ends by itself."""
    night = evening()
    bump(night)
    night.hold(BREATH, BUMP_S - 20.0)
    assert night.state.sound.pattern == "temporal-four"
    assert night.alerts() == []
    night.hold(BREATH, 30.0)
    told = [(one.alarm, one.escalation) for _, one in night.alerts()]
    assert told == [("o2-low", 0), ("o2-low", 2)], "the second phone is due by then"
    last = night.transitions("o2-low")[-1]
    assert last.was is last.state, "said anew to whoever leaves the test out"


@pytest.mark.hazard("silenced-by-test")
def test_what_nobody_answered_in_it_is_told_as_over() -> None:
    night = evening()
    bump(night)
    night.hold(BREATH, 20.0)
    night.hold(AIR, 180.0)
    assert night.now_in("o2-low") == "latched-unacknowledged"
    ended(night)
    night.hold(AIR, 5.0)
    assert [one.alarm for _, one in night.alerts()] == ["o2-low"]


@pytest.mark.hazard("silenced-by-test")
def test_it_begins_by_no_phone_beside_no_alarm_and_three_times_an_hour() -> None:
    night = evening()
    bump(night, by="phone")
    night.hold(BREATH, 20.0)
    assert len(night.alerts()) == 1, "a phone began none"
    bump(night)
    night.hold(BREATH, 1200.0)
    assert len(night.alerts()) > 1, "none begins beside an alarm"

    night = evening()
    for _ in range(AT_MOST):
        bump(night)
        night.hold(AIR, 20.0)
        ended(night)
    bump(night)
    night.hold(BREATH, 20.0)
    assert len(night.alerts()) == 1
    assert [one.fields["state"] for one in night.records("bump-test")] == [
        *("begun", "ended") * AT_MOST
    ]


def test_who_answered_before_still_waits_for_the_all_clear() -> None:
    """The minutes of an all-clear are not the time for a test."""
    night = evening()
    night.hold(BREATH, 20.0)
    night.hold(AIR, 60.0)
    night.act("ack")
    bump(night)
    assert night.records("bump-test") == []
    night.hold(AIR, 600.0)
    assert night.alerts()[-1][1].alarm == "all-clear"
