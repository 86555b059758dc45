"""What an asker is told became of it, read from a core that really did it, or not."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.ask.outcome import NOTHING, ActOutcome, outcome
from cabinvigil.daemon.core.alarm_status import HEARD_S
from cabinvigil.daemon.core.model import Act, ActKind, Priority, SourceFault
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.rules import source
from tests.core.scenario import Night, cabin, co_level, o2_low


def fault_spec(**changes: object) -> AlarmSpec:
    known = {"about_air": False, "gravest": Priority.FAULT, "shelve_s": 86_400.0}
    return AlarmSpec(
        "sensor-fault/cell", "source", source.Params("cell"), source.judge,
        **(known | changes),  # type: ignore[arg-type]
    )  # fmt: skip


def in_danger(**changes: object) -> Night:
    """Oxygen low, heard for a minute; a sensor is at fault besides."""
    night = Night(cabin(o2_low(), fault_spec(**changes)))
    night.hold({"o2_pct": 19.0}, 60.0)
    night.take(SourceFault("cell", "absent", "the cell is gone"))
    night.hold({"o2_pct": 19.0}, 60.0)
    return night


def done(night: Night, kind: ActKind, alarm: str = "", **how: object) -> ActOutcome:
    act = Act(kind, alarm, **({"by": "phone"} | how))  # type: ignore[arg-type]
    before = night.state
    night.take(act, 1.0)
    return outcome(before, night.state, act)


def says_nothing_was_done(got: ActOutcome, words: str) -> bool:
    body = got.body()
    return (
        body == {"ok": False, "changed": 0, "text": got.text}
        and got.text.startswith(NOTHING)
        and words in got.text
        and got.text.endswith(".")
    )


@pytest.mark.parametrize("kind", [ActKind.ACKNOWLEDGE, ActKind.RESET])
def test_a_phone_answers_once_and_learns_that_the_second_did_nothing(
    kind: ActKind,
) -> None:
    night = in_danger()
    got = done(night, kind, "o2-low")
    assert got.body() == {
        "ok": True,
        "changed": 1,
        "text": "Quiet for 5 min; a second acknowledgement from a phone does not "
        "count. sensor-fault/cell still sounds.",
    }
    again = done(night, kind, "o2-low")
    assert says_nothing_was_done(again, "o2-low does not wait to be acknowledged")
    night.hold({"o2_pct": 19.0}, 400.0)
    assert night.state.sound.pattern == "temporal-four"
    later = done(night, kind, "o2-low")
    assert says_nothing_was_done(
        later, "a second acknowledgement from a phone does not count"
    )
    assert "button in the cabin" in later.text
    assert night.state.sound.pattern == "temporal-four"
    by_hand = done(night, kind, "o2-low", by="socket")
    assert by_hand.text == "Quiet for 5 min. sensor-fault/cell still sounds."


def test_a_danger_that_still_sounds_is_said_first() -> None:
    """Whoever answered all of them must not read that it is quiet."""
    night = in_danger()
    age_s = night.now - night.standing().rang_s
    night.take(SourceFault("cell", "absent", "the cell is gone"))
    late = replace(night.standing("sensor-fault/cell"), rang_s=0.0)
    standings = {**night.state.standings, "sensor-fault/cell": late}
    night.state = replace(night.state, standings=standings)
    got = done(night, ActKind.ACKNOWLEDGE, age_s=age_s)
    assert (got.is_done, got.changed) == (True, 1)
    assert got.text.startswith(
        "o2-low still sounds: it began to sound only then; acknowledge it again. Of "
        "the others: quiet for 5 min;"
    )


def test_an_answer_to_nothing_says_so() -> None:
    night = Night(cabin(o2_low()))
    night.hold({"o2_pct": 20.9}, 60.0)
    got = done(night, ActKind.ACKNOWLEDGE)
    assert says_nothing_was_done(got, "no alarm waits to be acknowledged")
    got = done(night, ActKind.ACKNOWLEDGE, "o2-low")
    assert says_nothing_was_done(got, "o2-low does not wait")
    got = done(night, ActKind.ACKNOWLEDGE, "o3-low")
    assert says_nothing_was_done(got, "there is no alarm 'o3-low' here")


def test_an_answer_to_what_had_not_rung_yet_says_so() -> None:
    """It was given before, or in the moment in which it began to sound."""
    night = in_danger()
    late_s = night.now - night.standing().rang_s
    got = done(night, ActKind.ACKNOWLEDGE, "o2-low", age_s=late_s)
    assert says_nothing_was_done(
        got, "it began to sound only then; acknowledge it again"
    )
    age_s = late_s - HEARD_S
    assert done(night, ActKind.ACKNOWLEDGE, "o2-low", age_s=age_s).is_done


def test_a_button_that_answers_by_itself_quiets_no_danger_and_it_is_said() -> None:
    night = in_danger()
    night.take(SourceFault("button", "stuck", "the button is stuck"))
    got = done(night, ActKind.ACKNOWLEDGE, "o2-low", by="socket")
    assert says_nothing_was_done(got, "is pressing by itself")
    assert done(night, ActKind.ACKNOWLEDGE, "o2-low").is_done, "the phone is another"


def test_what_is_over_is_answered_without_a_quiet_time() -> None:
    night = in_danger()
    night.hold({"o2_pct": 20.9}, 600.0)
    got = done(night, ActKind.ACKNOWLEDGE, "o2-low")
    assert (got.is_done, got.text.split(".")[0]) == (
        True,
        "Acknowledged; it was over already",
    )


@pytest.mark.parametrize("by", ["phone", "socket"])
def test_only_faults_and_lows_are_shelved_and_no_longer_than_an_answer(by: str) -> None:
    night = in_danger()
    got = done(night, ActKind.SHELVE, "o2-low", for_s=3600.0, by=by)
    assert says_nothing_was_done(got, "only faults and CAUTION alarms can be shelved")
    got = done(night, ActKind.SHELVE, "sensor-fault/cell", for_s=3600.0, by=by)
    assert got == ActOutcome(True, "sensor-fault/cell is shelved for 5 min.", 1)
    got = done(night, ActKind.SHELVE, "sensor-fault/cell", for_s=3600.0, by=by)
    assert says_nothing_was_done(got, "set aside already (shelved)")
    got = done(night, ActKind.UNSHELVE, "sensor-fault/cell", by=by)
    assert got.text == "sensor-fault/cell is back; it is unacknowledged."
    got = done(night, ActKind.UNSHELVE, "sensor-fault/cell", by=by)
    assert says_nothing_was_done(got, "is not shelved")


def test_a_danger_that_does_not_stand_yet_is_no_fault_to_be_shelved() -> None:
    """All alarms put off beforehand, oxygen and carbon monoxide with them."""
    night = Night(cabin(o2_low(), co_level(), keys=["o2_pct", "co_ppm"]))
    night.hold({"o2_pct": 20.9, "co_ppm": 0.0}, 60.0)
    for alarm in ("o2-low", "co-level"):
        got = done(night, ActKind.SHELVE, alarm, for_s=3600.0)
        assert says_nothing_was_done(got, f"{alarm} can wake people")


def test_what_the_limits_let_nobody_shelve() -> None:
    night = in_danger(shelve_s=0.0)
    got = done(night, ActKind.SHELVE, "sensor-fault/cell", for_s=60.0)
    assert says_nothing_was_done(got, "the limits do not allow anyone to shelve")


def test_out_of_service_and_back() -> None:
    night = in_danger(removable=True)
    got = done(night, ActKind.OUT_OF_SERVICE, "o2-low", by="socket")
    assert says_nothing_was_done(got, "wakes people now")
    got = done(night, ActKind.OUT_OF_SERVICE, "sensor-fault/cell", by="socket")
    assert got.text == "sensor-fault/cell is out of service until returned."
    got = done(night, ActKind.RETURN_TO_SERVICE, "sensor-fault/cell", by="socket")
    assert got.is_done
    got = done(night, ActKind.RETURN_TO_SERVICE, "sensor-fault/cell", by="socket")
    assert says_nothing_was_done(got, "is not out of service")


def test_the_test_sounds_or_says_why_not() -> None:
    night = Night(cabin(o2_low()))
    night.hold({"o2_pct": 20.9}, 60.0)
    assert done(night, ActKind.TEST) == ActOutcome(True, "The test sounds.")
    got = done(night, ActKind.TEST)
    assert says_nothing_was_done(got, "tested once in 10 min; wait 10 min")
    night.hold({"o2_pct": 19.0}, 700.0)
    assert says_nothing_was_done(done(night, ActKind.TEST), "an alarm is active")


def test_a_mark_is_marked() -> None:
    night = Night(cabin(o2_low()))
    assert done(night, ActKind.MARK, text="vent open") == ActOutcome(True, "Marked.")
