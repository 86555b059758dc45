"""Shelved, suppressed, out of service: bounded, visible, never a standing `high`."""

import math
from typing import Any

import pytest

from cabinvigil.daemon.core.alarm import Trigger
from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    AlarmState,
    Priority,
    SourceFault,
    SourceOk,
    Verdict,
)
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.core.shelving import put_aside, stay_aside, take_back
from cabinvigil.daemon.rules import source, stale
from tests.core.scenario import Night, cabin, co_level, o2_low, play


def in_co(script: str, **changes: float) -> Night:
    """A ladder that says it can ring no graver than `low`, and does."""
    known: dict[str, Any] = {"gravest": Priority.LOW, "ack_s": 3600.0}
    setup = cabin(co_level(**(known | changes)), keys=["co_ppm"])
    return play(script, setup, key="co_ppm", alarm="co-level")


def of_part(alarm: str, part: str, judge_of: str = "source", **more: Any) -> AlarmSpec:
    """A fault alarm of a part, or of its series."""
    module = source if judge_of == "source" else stale
    params: Any = module.Params(part)
    judge: Any = module.judge
    known: dict[str, Any] = {"removable": True, "about_air": False}
    return AlarmSpec(alarm, judge_of, params, judge, **(known | more))


def test_shelving_quiets_for_its_time_and_the_condition_rings_again() -> None:
    """Put off for five minutes, a standing alarm is back after five."""
    night = in_co("0 80 shelve:298" + " 80" * 29)
    assert night.now_in("co-level") == "shelved"
    assert night.state.sound.pattern == "quiet"
    night.play("80", key="co_ppm")
    assert night.path("co-level") == "normal unacknowledged shelved unacknowledged"
    assert night.transitions()[-1].since_s == 20.0


def test_shelving_has_an_end_set_by_the_alarm() -> None:
    """Asked for a day, given the alarm's own hour at most."""
    night = in_co("0 80 shelve:86400", shelve_s=3600.0)
    assert night.standing("co-level").aside_until_s == night.now + 3600.0


@pytest.mark.parametrize("for_s", [0.0, -5.0, math.nan])
def test_shelving_without_a_time_shelves_nothing(for_s: float) -> None:
    """A time that is no positive number would be shelving without an end."""
    night = in_co("0 80")
    night.take(Act(ActKind.SHELVE, "co-level", "phone", for_s=for_s))
    assert night.now_in("co-level") == "unacknowledged"


def test_shelving_for_ever_is_cut_to_the_alarms_own_limit() -> None:
    """Infinity is a long time, and bounded like any other."""
    night = in_co("0 80")
    night.take(Act(ActKind.SHELVE, "co-level", "phone", for_s=math.inf))
    assert night.standing("co-level").aside_until_s == night.now + 3600.0


def test_an_alarm_that_may_not_be_shelved_is_not() -> None:
    """`shelve_s` 0 forbids it."""
    assert in_co("0 80 shelve:60", shelve_s=0.0).now_in("co-level") == "unacknowledged"


@pytest.mark.parametrize("script", ["0 210", "0 210 ack", "0 210" + " 0" * 8])
def test_a_standing_high_is_never_shelved(script: str) -> None:
    """Sounding, acknowledged or latched: `high` stays where it is."""
    night = in_co(script)
    before = night.now_in("co-level")
    night.act("shelve:600", "co-level")
    assert night.now_in("co-level") == before


def test_high_comes_back_from_the_shelf_whatever_it_was_before() -> None:
    """An alarm that was `high` last night, shelved while normal, rings at once."""
    night = in_co("0 210 ack" + " 0" * 9)
    assert night.now_in("co-level") == "normal"
    night.act("shelve:3600", "co-level")
    night.play("210", key="co_ppm")
    assert night.now_in("co-level") == "unacknowledged"
    assert night.state.sound.pattern == "temporal-four"


def test_a_step_up_ends_the_shelving() -> None:
    """Put off at 40 ppm, it rings at 80: the person put off something lighter."""
    assert in_co("0 40 shelve:3600 80").now_in("co-level") == "unacknowledged"


def test_growing_by_the_step_ends_the_shelving() -> None:
    """Put off at 80 ppm it rings at 130, though that is `medium` still."""
    night = in_co("0 80 shelve:3600 80 120")
    assert night.now_in("co-level") == "shelved"
    night.play("130", key="co_ppm")
    assert night.now_in("co-level") == "unacknowledged"


def test_what_rises_while_shelved_is_kept_and_rings_when_the_time_is_over() -> None:
    """Shelved while normal, `medium` meanwhile, then silence: it has not gone away."""
    night = in_co("0 shelve:58 80 _ _ _ _")
    assert night.standing("co-level").priority_while_shelved is Priority.MEDIUM
    night.play("_")
    assert night.now_in("co-level") == "unacknowledged"
    assert night.standing("co-level").since_s == 20.0


def test_growth_counts_from_where_it_rose_while_shelved() -> None:
    """Risen to 80 ppm unseen, it comes back at 130."""
    night = in_co("0 shelve:3600 80 120")
    assert night.now_in("co-level") == "shelved"
    night.play("130", key="co_ppm")
    assert night.now_in("co-level") == "unacknowledged"


def test_what_was_normal_and_cannot_be_told_comes_back_normal() -> None:
    """None raises nothing, on the way back from the shelf either."""
    night = in_co("0 shelve:58 _ _ _ _ _ _")
    assert night.now_in("co-level") == "normal"


def test_what_has_gone_comes_back_normal() -> None:
    """Clean air at the end of the shelving: nothing to ring."""
    night = in_co("0 80 shelve:58 80 0 0 0 0 0")
    assert night.path("co-level") == "normal unacknowledged shelved normal"


def test_the_dead_band_counts_on_the_way_back() -> None:
    """67 ppm is no alarm by itself, but one that stood at 70 still stands."""
    night = in_co("0 80 shelve:600 67 unshelve")
    assert night.now_in("co-level") == "unacknowledged"
    assert night.standing("co-level").priority is Priority.MEDIUM


def test_unshelving_by_hand_tells_the_present_numbers() -> None:
    """Taken back, it rings with what is the case now, not with what was."""
    night = in_co("0 80 shelve:600 100 unshelve")
    assert night.transitions()[-1].text == "co-level medium  co_ppm=100 limit=70"


def test_each_act_ends_its_own_state_alone() -> None:
    """Unshelving does not return to service, nor the other way round."""
    spec = of_part("sensor-fault/cell", "cell")
    light = co_level(gravest=Priority.LOW)
    night = Night(cabin(light, spec, keys=["co_ppm"]))
    night.play("0", key="co_ppm")
    night.act("remove", "sensor-fault/cell")
    night.act("shelve:600", "co-level")
    night.act("return", "co-level")
    night.act("unshelve", "sensor-fault/cell")
    assert night.now_in("co-level") == "shelved"
    assert night.now_in("sensor-fault/cell") == "out-of-service"
    night.act("unshelve")
    night.act("return")
    assert night.now_in("co-level") == "normal"
    assert night.now_in("sensor-fault/cell") == "normal"


def test_a_shelved_alarm_is_not_shelved_again() -> None:
    """Shelving cannot be made longer by asking again."""
    night = in_co("0 80 shelve:58 80 shelve:3600 80 80 80 80 80")
    assert night.now_in("co-level") == "unacknowledged"


def test_shelving_or_removing_without_a_name_does_nothing() -> None:
    """'' means all that stand: fit for an answer, not for putting things aside."""
    night = Night(cabin(co_level(), of_part("sensor-fault/cell", "cell")))
    night.act("shelve:600")
    night.act("remove")
    assert night.transitions() == []


def test_out_of_service_is_for_faults_alone() -> None:
    """A gas alarm is never taken out of service."""
    night = in_co("0 remove")
    assert night.now_in("co-level") == "normal"


def test_a_phone_takes_nothing_out_of_service() -> None:
    """Only who is in the cabin may."""
    night = Night(cabin(of_part("sensor-fault/cell", "cell")))
    night.act("remove", "sensor-fault/cell", by="phone")
    assert night.now_in("sensor-fault/cell") == "normal"
    night.act("remove", "sensor-fault/cell", by="socket")
    assert night.now_in("sensor-fault/cell") == "out-of-service"


def test_out_of_service_stays_until_ended() -> None:
    """It is shown for ever, raises nothing, and comes back with its fault."""
    night = Night(cabin(of_part("sensor-fault/cell", "cell")))
    night.act("remove", "sensor-fault/cell")
    night.take(SourceFault("cell", "absent", "the cell is gone"), 10.0)
    night.air({}, 86_400.0)
    assert night.now_in("sensor-fault/cell") == "out-of-service"
    night.act("return", "sensor-fault/cell")
    assert night.path("sensor-fault/cell") == "normal out-of-service unacknowledged"


def test_the_last_guard_does_not_stay_out_of_service() -> None:
    """A stale CO series with a fellow is a fault; without one it wakes people."""
    alarm = of_part("sensor-stale/co_ppm__a", "co_ppm__a", "stale")
    night = Night(cabin(alarm, keys=["co_ppm__a", "co_ppm__b"]))
    night.air({"co_ppm__a": 0.0, "co_ppm__b": 0.0})
    night.act("remove", "sensor-stale/co_ppm__a")
    night.hold({"co_ppm__b": 0.0}, 120.0)
    assert night.now_in("sensor-stale/co_ppm__a") == "out-of-service"
    night.hold({}, 60.0)
    standing = night.standing("sensor-stale/co_ppm__a")
    assert standing.state is AlarmState.UNACKNOWLEDGED
    assert standing.priority is Priority.MEDIUM
    night.act("remove", "sensor-stale/co_ppm__a")
    assert night.now_in("sensor-stale/co_ppm__a") == "unacknowledged"


def faults() -> Night:
    """A part's fault, and the silence of its series, which the fault explains."""
    return Night(
        cabin(
            of_part(
                "sensor-stale/o2_pct",
                "o2_pct",
                "stale",
                suppressed_by=("sensor-fault/the-cell", "no-such-alarm"),
            ),
            of_part("sensor-fault/the-cell", "the-cell"),
            keys=["o2_pct", "o2_pct_ceiling"],
        )
    )


def test_a_fault_that_another_alarm_explains_is_suppressed() -> None:
    """One cause, one chirp: whichever of the two is judged first."""
    night = faults()
    night.air({"o2_pct": 20.9, "o2_pct_ceiling": 20.9})
    night.hold({"o2_pct_ceiling": 20.9}, 30.0)
    night.take(SourceFault("the-cell", "absent", "gone"), 0.0)
    night.hold({"o2_pct_ceiling": 20.9}, 90.0)
    assert night.path("sensor-stale") == "normal suppressed"
    assert [alert.alarm for _, alert in night.alerts()] == ["sensor-fault/the-cell"]


def test_a_suppressed_fault_rings_when_its_explanation_ends() -> None:
    """The part answers again, the series stays silent: now that is the news."""
    night = faults()
    night.air({"o2_pct": 20.9, "o2_pct_ceiling": 20.9})
    night.take(SourceFault("the-cell", "absent", "gone"), 0.0)
    night.hold({"o2_pct_ceiling": 20.9}, 60.0)
    night.take(SourceOk("the-cell"), 5.0)
    assert night.now_in("sensor-stale/o2_pct") == "unacknowledged"
    night.air({"o2_pct": 20.9})
    assert night.now_in("sensor-stale/o2_pct") == "normal"


def test_what_wakes_people_is_never_suppressed() -> None:
    """With its fellow silent too, no oxygen is measured: `medium`, and said."""
    night = faults()
    night.air({"o2_pct": 20.9, "o2_pct_ceiling": 20.9})
    night.take(SourceFault("the-cell", "absent", "gone"), 0.0)
    night.hold({"o2_pct_ceiling": 20.9}, 60.0)
    assert night.now_in("sensor-stale/o2_pct") == "suppressed"
    night.hold({}, 60.0)
    standing = night.standing("sensor-stale/o2_pct")
    assert (standing.state, standing.priority) == (
        AlarmState.UNACKNOWLEDGED,
        Priority.MEDIUM,
    )


def test_a_suppressed_fault_that_ends_is_gone_with_its_explanation() -> None:
    """Both end: nothing rings, and the state is `normal` again."""
    night = faults()
    night.air({"o2_pct": 20.9, "o2_pct_ceiling": 20.9})
    night.take(SourceFault("the-cell", "absent", "gone"), 0.0)
    night.hold({"o2_pct_ceiling": 20.9}, 60.0)
    night.air({"o2_pct": 20.9, "o2_pct_ceiling": 20.9})
    assert night.standing("sensor-stale/o2_pct").priority_while_shelved is None
    night.take(SourceOk("the-cell"), 5.0)
    assert night.path("sensor-stale") == "normal suppressed normal"


def test_an_answer_leaves_what_stands_aside() -> None:
    """Acknowledging everything does not touch shelved alarms."""
    night = in_co("0 80 shelve:60 ack")
    assert night.now_in("co-level") == "shelved"


def test_what_is_aside_is_put_aside_only_once_and_what_is_not_is_not_taken_back() -> (
    None
):
    """Both ways, asking for what is the case already changes nothing."""
    spec = o2_low()
    aside = AlarmStatus(AlarmState.SHELVED)
    assert put_aside(spec, aside, Trigger.SHELVE, 60.0, 1.0) is aside
    living = AlarmStatus(AlarmState.ACKNOWLEDGED, Priority.MEDIUM)
    assert take_back(living, Verdict(None), 1.0) is living


def test_silence_leaves_a_shelved_alarm_as_it_was() -> None:
    """None changes neither what is hidden nor the time."""
    aside = AlarmStatus(
        AlarmState.SHELVED, aside_until_s=100.0, priority_while_shelved=Priority.LOW
    )
    assert stay_aside(o2_low(), aside, None, 50.0) is aside
