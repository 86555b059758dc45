"""The all-clear: owed after a grave alarm, told once, never on what is not known."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.core.alarm_status import HEARD_S
from cabinvigil.daemon.core.all_clear import (
    ALL_CLEAR_AFTER_S,
    AllClearForecast,
    outlook,
)
from cabinvigil.daemon.core.changes import renewed
from cabinvigil.daemon.core.model import Alert, Priority, SourceFault, Verdict
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.core.snapshot import restore, to_plain
from tests.core.scenario import Night, cabin, co_level, ladder, o2_low, series

GOOD = {"o2_pct": 20.9, "co_ppm": 0.0}
BAD = GOOD | {"o2_pct": 19.0}


def both(*more: AlarmSpec, keys: tuple[str, ...] = ("o2_pct", "co_ppm")) -> Night:
    return Night(cabin(o2_low(), co_level(), *more, keys=keys))


def clears(night: Night) -> list[float]:
    """When the phone got it; the second phone, where it was told, does too."""
    return [
        at
        for at, alert in night.alerts()
        if alert.alarm == "all-clear" and alert.escalation == 0
    ]


def aired(night: Night) -> Night:
    """Ring, and let the alarm clear."""
    night.hold(GOOD, 20.0)
    night.hold(BAD, 30.0)
    night.hold(GOOD, 70.0)
    assert "latched-unacknowledged" in {
        standing.state.value for standing in night.state.standings.values()
    }
    night.act("ack")
    night.hold(GOOD, 10.0)
    return night


def test_an_answer_that_comes_late_waits_its_five_minutes() -> None:
    """Parts lag, and the air may have turned as somebody opened the door to answer."""
    night = both()
    night.hold(GOOD, 20.0)
    night.hold(BAD, 30.0)
    night.hold(GOOD, 900.0)
    night.act("ack")
    answered_s = night.now
    night.hold(GOOD, 400.0)
    (told_s,) = clears(night)
    assert told_s >= answered_s + ALL_CLEAR_AFTER_S


def test_it_is_told_once_after_five_clear_minutes() -> None:
    """Whoever was sent out learns when the air has been good for long enough."""
    night = aired(both())
    answered_s = night.now - 10.0 + HEARD_S
    night.hold(GOOD, 1200.0)
    (told_s,) = clears(night)
    assert answered_s <= told_s - ALL_CLEAR_AFTER_S <= answered_s + 10.0
    (told,) = [alert for _, alert in night.alerts() if alert.alarm == "all-clear"]
    assert told == Alert("all-clear", Priority.LOW, "all-clear low  o2_pct=20.9")


@pytest.mark.hazard("false-all-clear")
def test_one_that_waits_is_withdrawn_where_the_air_gets_worse() -> None:
    """Three texts went just before it was due, and it comes when the air is good."""
    night = aired(both())
    while night.state.airing_since_s is None or (
        night.now - night.state.airing_since_s < ALL_CLEAR_AFTER_S - 15.0
    ):
        night.air(GOOD)
    full = (night.now,) * 3
    told = replace(night.state.told, texts_s=full, second_texts_s=full)
    night.state = replace(night.state, told=told)
    night.hold(GOOD, 60.0)
    assert "all-clear" in {line.alarm for line in night.state.told.lines}
    night.hold(GOOD | {"co_ppm": 40.0}, 900.0)
    assert clears(night) == []
    night.hold(GOOD, 1200.0)
    assert len(clears(night)) == 1


@pytest.mark.hazard("false-all-clear")
def test_after_a_gas_that_nobody_measures_there_is_none() -> None:
    """That O2 no longer falls does not say that the other gas has gone."""
    displaced = replace(o2_low(), id="displaced-air", kind="displaced")
    night = aired(Night(cabin(displaced, co_level(), keys=("o2_pct", "co_ppm"))))
    night.hold(GOOD, 3600.0)
    assert clears(night) == []


def test_without_a_grave_alarm_nothing_is_owed() -> None:
    """A light alarm sends nobody out."""
    night = both()
    night.hold(GOOD | {"co_ppm": 40.0}, 60.0)
    night.hold(GOOD, 1200.0)
    assert clears(night) == []


def test_a_new_alarm_begins_the_count_anew() -> None:
    """Four clear minutes, an alarm, and five more."""
    night = aired(both())
    night.hold(GOOD, 240.0)
    night.hold(GOOD | {"co_ppm": 80.0}, 30.0)
    night.hold(GOOD, 70.0)
    cleared_s = night.now
    night.hold(GOOD, 1200.0)
    assert clears(night) == [cleared_s + ALL_CLEAR_AFTER_S]


@pytest.mark.hazard("false-all-clear")
def test_it_waits_while_an_alarm_still_calls_for_an_answer() -> None:
    """The air is good, the sounder goes on: nobody is told that all is clear."""
    night = both()
    night.hold(BAD, 30.0)
    night.hold(GOOD, 3600.0)
    assert night.state.sound.pattern == "temporal-four"
    assert clears(night) == []
    night.act("ack")
    night.hold(GOOD, 400.0)
    assert len(clears(night)) == 1


@pytest.mark.hazard("false-all-clear")
def test_a_light_alarm_about_a_gas_keeps_everyone_out() -> None:
    """CO at 57 ppm beside an oxygen alarm that is over: no air to go back into."""
    night = aired(both())
    night.hold(GOOD | {"co_ppm": 57.0}, 1200.0)
    assert night.standing("co-level").priority is Priority.LOW
    assert clears(night) == []
    night.hold(GOOD, 400.0)
    assert len(clears(night)) == 1


@pytest.mark.hazard("false-all-clear")
def test_a_value_that_has_died_clears_nothing() -> None:
    """The oxygen part freezes at good air, while the air falls on: no all-clear."""
    lively = series("o2_pct", interval_s=2.0, resolution=0.01, noise=0.02)
    night = Night(cabin(o2_low(), co_level(), keys=[lively, "co_ppm"]))
    night.hold(BAD, 30.0)
    night.act("ack")
    night.hold(GOOD, 60.0)
    assert night.state.history.series["o2_pct"].doubtful is False
    night.hold(GOOD, 1200.0)
    assert night.state.history.series["o2_pct"].doubtful is True
    assert clears(night) == []


@pytest.mark.hazard("false-all-clear")
def test_a_part_with_a_fault_clears_nothing() -> None:
    """What its driver doubts is not known, however good it reads."""
    night = aired(both())
    night.take(SourceFault("the-o2_pct", "checksum", "doubtful"))
    night.hold(GOOD, 1200.0)
    assert clears(night) == []


def test_the_same_alarm_again_begins_the_count_anew() -> None:
    """Four clear minutes, the oxygen falls once more, and five more."""
    night = aired(both())
    night.hold(GOOD, 240.0)
    night.hold(BAD, 30.0)
    night.act("ack")
    night.hold(GOOD, 70.0)
    cleared_s = night.now
    night.hold(GOOD, 1200.0)
    (told_s,) = clears(night)
    assert cleared_s < told_s <= cleared_s + ALL_CLEAR_AFTER_S + 10.0


@pytest.mark.hazard("false-all-clear")
@pytest.mark.parametrize("lost", ["o2_pct", "co_ppm"])
def test_unknown_air_is_not_clear(lost: str) -> None:
    """While oxygen or CO is not measured the count does not run."""
    night = aired(both())
    night.hold(GOOD, 200.0)
    night.hold({key: value for key, value in GOOD.items() if key != lost}, 600.0)
    assert clears(night) == []
    back_s = night.now + 10.0
    night.hold(GOOD, 600.0)
    assert clears(night) == [back_s + ALL_CLEAR_AFTER_S]


@pytest.mark.hazard("false-all-clear")
def test_doubtful_air_is_not_clear() -> None:
    """A part that is warming up tells nobody to go back in."""
    night = aired(both())
    for _ in range(60):
        night.air(GOOD, doubtful=["co_ppm"])
    assert clears(night) == []


def test_every_place_must_be_known() -> None:
    """The bunk's oxygen lost, the ceiling's good: nobody knows the bunk."""
    keys = ("o2_pct", "o2_pct_ceiling", "co_ppm", "temp_c_outside", "temp_c")
    night = both(keys=keys)
    all_good = GOOD | {"o2_pct_ceiling": 20.9, "temp_c_outside": -9.0}
    night.hold(all_good | {"co_ppm": 80.0}, 20.0)
    night.hold(all_good, 100.0)
    without = {k: v for k, v in all_good.items() if k != "o2_pct"}
    night.hold(without, 900.0)
    assert clears(night) == []
    night.hold(all_good, 400.0)
    assert len(clears(night)) == 1


def test_what_rang_must_be_known_too() -> None:
    """After a CO2 alarm the all-clear waits for CO2."""
    spec = ladder("co2-level", "co2_ppm", (10000.0, "medium"))
    night = both(spec, keys=("o2_pct", "co_ppm", "co2_ppm"))
    night.hold(GOOD | {"co2_ppm": 12000.0}, 20.0)
    night.hold(GOOD | {"co2_ppm": 800.0}, 20.0)
    night.hold(GOOD, 900.0)
    assert clears(night) == []
    night.hold(GOOD | {"co2_ppm": 800.0}, 320.0)
    assert len(clears(night)) == 1


def test_a_lower_step_is_not_clear() -> None:
    """From 80 ppm down to 60: still an alarm, and no air to go back into."""
    night = both()
    night.hold(GOOD | {"co_ppm": 80.0}, 30.0)
    night.act("ack")
    night.hold(GOOD | {"co_ppm": 60.0}, 1200.0)
    assert night.standing("co-level").priority is Priority.LOW
    assert clears(night) == []
    night.hold(GOOD, 400.0)
    assert len(clears(night)) == 1


@pytest.mark.hazard("false-all-clear")
def test_what_is_shelved_meanwhile_is_not_clear() -> None:
    """Put off, the condition stands all the same."""
    shelvable = co_level(gravest=Priority.LOW, ack_s=3600.0)
    night = aired(Night(cabin(o2_low(), shelvable, keys=("o2_pct", "co_ppm"))))
    night.act("shelve:3600", "co-level")
    night.hold(GOOD | {"co_ppm": 80.0}, 1200.0)
    assert night.now_in("co-level") == "shelved"
    assert clears(night) == []


def judged(kind: str, verdicts: list[Verdict | None]) -> AlarmSpec:
    return AlarmSpec("blood", kind, None, lambda *_: verdicts[-1])


@pytest.mark.parametrize("kind", ["dose", "displaced"])
def test_a_gas_that_names_no_quantity_keeps_everyone_out(kind: str) -> None:
    """A dose in the blood, another gas: at any priority, they stand."""
    verdicts: list[Verdict | None] = [Verdict(Priority.MEDIUM)]
    night = both(judged(kind, verdicts))
    night.hold(GOOD, 20.0)
    night.act("ack")
    verdicts.append(Verdict(Priority.LOW))
    night.hold(GOOD, 600.0)
    assert clears(night) == []


def test_faults_of_parts_do_not_count() -> None:
    """Only alarms about the air send out and hold back."""
    spec = AlarmSpec(
        "log", "made", None, lambda *_: Verdict(Priority.FAULT), about_air=False
    )
    night = aired(both(spec))
    assert night.now_in("log") == "acknowledged"
    night.hold(GOOD, 1000.0)
    assert len(clears(night)) == 1


def test_whoever_asks_is_told_when_it_is_safe_to_go_back_in() -> None:
    """Nobody sent out; not yet; so many minutes of good air; done."""
    night = both()
    night.hold(GOOD, 20.0)
    assert outlook(night.state, night.now) is None
    night.hold(BAD, 30.0)
    night.act("ack")
    assert outlook(night.state, night.now) == AllClearForecast(
        None, can_be_told=True, sent_out=True
    )
    night.hold(GOOD, 70.0)
    left = outlook(night.state, night.now)
    assert left == AllClearForecast(ALL_CLEAR_AFTER_S, can_be_told=True, sent_out=True)
    night.hold(GOOD, 60.0)
    left = outlook(night.state, night.now)
    assert left == AllClearForecast(
        ALL_CLEAR_AFTER_S - 60.0, can_be_told=True, sent_out=True
    )
    night.hold({"co_ppm": 0.0}, 60.0)
    assert outlook(night.state, night.now) == AllClearForecast(
        None, can_be_told=True, sent_out=True
    )
    night.hold(GOOD, 600.0)
    assert outlook(night.state, night.now) is None


def test_after_another_gas_nobody_is_told_to_wait_for_an_all_clear() -> None:
    """There is none to wait for, and that is said."""
    displaced = replace(o2_low(), id="displaced-air", kind="displaced")
    night = aired(Night(cabin(displaced, co_level(), keys=("o2_pct", "co_ppm"))))
    night.hold(GOOD, 600.0)
    assert outlook(night.state, night.now) == AllClearForecast(
        None, can_be_told=False, sent_out=True
    )


def test_only_a_danger_sends_people_out_and_a_restart_knows_it() -> None:
    """What woke people to open up owes an all-clear too, but sent nobody outside."""
    night = both()
    night.hold(GOOD, 20.0)
    night.hold(GOOD | {"co_ppm": 80.0}, 30.0)
    owed = outlook(night.state, night.now)
    assert owed is not None
    assert not owed.sent_out
    again, _ = restore(night.state.setup, to_plain(night.state), 0.0, down_s=1.0)
    assert (owed := outlook(again, 0.0)) is not None
    assert not owed.sent_out
    older = {k: v for k, v in to_plain(night.state).items() if k != "sent_out"}
    again, _ = restore(night.state.setup, older, 0.0, down_s=1.0)
    assert (owed := outlook(again, 0.0)) is not None
    assert owed.sent_out, "not known: whoever is outside stays there"
    night.hold(GOOD | {"co_ppm": 210.0}, 30.0)
    night.hold(GOOD, 70.0)
    assert (owed := outlook(night.state, night.now)) is not None
    assert owed.sent_out


def test_who_looks_reads_the_numbers_of_now_not_of_when_it_sounded() -> None:
    """A look beside the table of readings showed what was so ten minutes before."""
    night = both()
    night.hold(GOOD, 20.0)
    night.hold(GOOD | {"co_ppm": 80.0}, 60.0)
    night.hold(GOOD | {"co_ppm": 95.0}, 60.0)
    standing = night.state.standings["co-level"]
    assert "co_ppm=80" in standing.text
    now = renewed(night.state, "co-level", standing, night.now)
    assert "co_ppm=95" in now.text
