"""How one alarm moves: delays, dead-band, latching, quiet time, chatter."""

import pytest

from cabinvigil.daemon.core.alarm import Trigger
from cabinvigil.daemon.core.alarm_status import (
    CHATTER_HOLD_S,
    AlarmStatus,
    advance,
    held,
    ring,
)
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    AlarmState,
    Priority,
    Verdict,
)
from cabinvigil.daemon.core.operator_actions import acknowledge
from tests.core.scenario import Night, cabin, co_level, ladder, o2_low, play


def test_one_low_reading_held_for_the_on_delay_rings() -> None:
    """19.4 % stands five seconds of silence later: what came last still counts."""
    night = play("20.9 19.4 _ _ 20.9", step_s=3.0)
    # Readings at 3, 6, ...: low from 6 s on, and it may have begun right after 3 s.
    assert night.moments() == [(9.0, "unacknowledged")]
    assert night.sounds() == [(9.0, "temporal-four")]


@pytest.mark.parametrize(
    ("o2_pct", "rings"), [(19.49, True), (19.50, True), (19.51, False)]
)
def test_the_limit_itself_counts_as_reached(o2_pct: float, rings: bool) -> None:
    """19.5 % is the limit of 29 CFR 1910.146(b) (check value `o2_osha_deficient`)."""
    night = play(f"20.9 {o2_pct} {o2_pct}")
    assert (night.now_in() == "unacknowledged") is rings


def test_a_spike_shorter_than_the_on_delay_raises_nothing() -> None:
    """The on-delay bridges a spike: OPC UA Part 9, B.1.5 (`opcua_delays`, read)."""
    night = Night(cabin(o2_low()))
    night.play("20.9 19.4 20.9 20.9 19.4 20.9", step_s=2.0)
    assert night.transitions() == []


def test_slow_readings_cost_no_step_more_than_the_delay() -> None:
    """With a reading a minute the first low one rings: five seconds have passed."""
    assert play("20.9 19.4", step_s=60.0).moments() == [(120.0, "unacknowledged")]


def test_the_very_first_reading_waits_for_its_delay() -> None:
    """Nothing was read before it, so the delay begins with it."""
    night = play("19.4 19.4 19.4 19.4", step_s=2.0)
    assert night.moments() == [(8.0, "unacknowledged")]


def test_acts_and_faults_between_readings_do_not_stretch_the_delay() -> None:
    """A mark right before a low reading does not make it look newer than it is."""
    night = play("20.9 mark 19.4", step_s=10.0)
    assert night.now_in() == "unacknowledged"


def test_high_latches_until_acknowledged_and_then_resets_itself() -> None:
    """`high` sounds on though the air is good, until answered, and no longer."""
    night = play("20.9 19.4 " + "20.9 " * 10)
    assert night.now_in() == "latched-unacknowledged"
    assert night.state.sound.pattern == "temporal-four"
    night.play("ack")
    assert night.path() == (
        "normal unacknowledged latched-unacknowledged latched-acknowledged normal"
    )
    assert night.state.sound.pattern == "quiet"


def test_an_alarm_that_does_not_latch_returns_unacknowledged_and_silent() -> None:
    """Without latching the state D of the standard: silent, shown until seen."""
    setup = cabin(o2_low(latch=False))
    night = play("20.9 19.4 " + "20.9 " * 10, setup)
    assert night.now_in() == "returned-unacknowledged"
    assert night.state.sound.pattern == "quiet"
    night.play("ack")
    assert night.now_in() == "normal"


def test_low_and_fault_are_acknowledged_by_design_when_they_clear() -> None:
    """A night of chirps asks nothing in the morning."""
    setup = cabin(ladder("co-level", "co_ppm", (30.0, "low")), keys=["co_ppm"])
    night = play("40 0", setup, key="co_ppm")
    assert night.path("co-level") == "normal unacknowledged normal"


@pytest.mark.parametrize("quiet_s", [10.0, 300.0])
def test_an_answer_quiets_for_its_time_and_no_longer(quiet_s: float) -> None:
    """While the air stays bad the quiet time ends with the sound, to the second."""
    night = play("20.9 19.4 19.4", cabin(o2_low(ack_s=quiet_s)))
    night.act("ack")
    assert night.state.sound.pattern == "quiet"
    began_s = night.now
    while night.state.sound.pattern == "quiet":
        night.air({"o2_pct": 19.4}, 1.0)
    assert night.now - began_s == quiet_s
    assert night.path().endswith("acknowledged unacknowledged")


def test_answering_again_does_not_make_the_quiet_time_longer() -> None:
    """A phone that answers every minute cannot silence a standing alarm for ever."""
    night = play("20.9 19.4 19.4 ack", cabin(o2_low(ack_s=300.0)))
    began_s = night.now
    while night.state.sound.pattern == "quiet":
        night.air({"o2_pct": 19.4}, 60.0)
        if night.state.sound.pattern == "quiet":
            night.act("ack", by="phone")
    assert night.now - began_s == 300.0


def test_it_rings_anew_when_worse_by_the_step() -> None:
    """Half a percent less than when it was told: the quiet time is over."""
    night = play("20.9 19.4 19.4 ack 19.2 19.0 18.91")
    assert night.now_in() == "acknowledged"
    night.play("18.9")
    assert night.now_in() == "unacknowledged"
    assert [alert.text for _, alert in night.alerts()] == [
        "o2-low high  o2_pct=19.4 limit=19.5",
        "o2-low high  o2_pct=18.9 limit=19.5",
    ]


def test_it_rings_anew_unanswered_too_when_worse_by_the_step() -> None:
    """The phone learns that it got worse, though nobody has answered yet."""
    night = play("20.9 19.4 18.9")
    assert night.path() == "normal unacknowledged unacknowledged"
    assert len(night.alerts()) == 2


def test_a_step_of_nothing_rings_only_at_what_is_worse() -> None:
    """With `again_step` 0 the same value again is not worse."""
    night = play("20.9 19.4 19.4 19.4 19.45", cabin(o2_low(again_step=0.0)))
    assert len(night.transitions()) == 1
    night.play("19.39")
    assert len(night.transitions()) == 2


def test_a_step_up_rings_anew_through_the_quiet_time() -> None:
    """co-level from 30 to 70 to 200 ppm: each step is a transition and a new sound."""
    night = play(
        "0 40 ack 80 ack 210", cabin(co_level(), keys=["co_ppm"]), key="co_ppm"
    )
    steps = [
        (t.priority.word, t.state.value, t.was.value)
        for t in night.transitions("co-level")
    ]
    assert steps == [
        ("low", "unacknowledged", "normal"),
        ("low", "acknowledged", "unacknowledged"),
        ("medium", "unacknowledged", "acknowledged"),
        ("medium", "acknowledged", "unacknowledged"),
        ("high", "unacknowledged", "acknowledged"),
    ]


def test_while_nobody_answers_the_worst_step_stands() -> None:
    """From 210 ppm back to 80 it still sounds as 210; answered, it is told as 80."""
    setup = cabin(co_level(), keys=["co_ppm"])
    night = play("0 210 80 80", setup, key="co_ppm")
    assert night.standing("co-level").priority is Priority.HIGH
    night.play("ack 80", key="co_ppm")
    standing = night.standing("co-level")
    assert standing.priority is Priority.MEDIUM
    assert standing.state is AlarmState.ACKNOWLEDGED
    assert "co_ppm=80 limit=70" in standing.text
    night.play("210", key="co_ppm")
    assert night.now_in("co-level") == "unacknowledged"


def test_noise_in_the_dead_band_keeps_one_alarm() -> None:
    """OPC UA Part 9, B.1.5: a noisy value inside the dead-band keeps one alarm."""
    night = play("20.9 19.4" + " 19.6 19.45 19.7 19.5" * 10)
    assert night.path() == "normal unacknowledged"
    assert night.standing().falling_s is None


def test_the_dead_band_alone_raises_nothing() -> None:
    """Coming down to 19.6 % is no alarm; only one that stands may stand on there."""
    assert play("20.9 19.6 19.6 19.6").transitions() == []


def test_the_off_delay_bridges_a_short_dip() -> None:
    """Fifty good seconds of sixty do not clear; the count begins anew."""
    night = play("20.9 19.4 " + "20.9 " * 6 + "19.4 " + "20.9 " * 6)
    assert night.path() == "normal unacknowledged"
    night.play("20.9")
    assert night.now_in() == "latched-unacknowledged"


@pytest.mark.parametrize("blank", ["_ _ _ _", "20.9?"])
def test_the_off_delay_wants_known_air_throughout(blank: str) -> None:
    """Silence, or a doubtful value, between two good ones is no good minute."""
    spare = ladder("spare", "co_ppm", (30.0, "low"))
    night = play("20.9 19.4 20.9 20.9 20.9 ", cabin(o2_low(), spare))
    night.play(blank)
    night.play("20.9 20.9 20.9 20.9 20.9 20.9")
    assert night.now_in() == "unacknowledged"
    night.play("20.9")
    assert night.now_in() == "latched-unacknowledged"


def test_silence_neither_raises_nor_clears() -> None:
    """None raises nothing, clears nothing, and does not end the quiet time early."""
    night = play("20.9 19.4 19.4 ack" + " _" * 30)
    assert night.now_in() == "acknowledged"
    night.play("_")
    assert night.now_in() == "unacknowledged"
    assert "19.4" not in night.standing().text, "a number of five minutes ago"
    night.play("_ " * 60)
    assert night.now_in() == "unacknowledged"


def test_an_acknowledged_latch_waits_for_a_reading_before_it_resets() -> None:
    """Acknowledged while the sensor is dumb: shown until a good reading comes."""
    night = play("20.9 19.4 " + "20.9 " * 7)
    assert night.now_in() == "latched-unacknowledged"
    night.play("_ _ _ _ ack _ _")
    assert night.now_in() == "latched-acknowledged"
    night.play("20.9")
    assert night.now_in() == "normal"


def test_a_latched_alarm_rises_again_and_keeps_waiting_for_an_answer() -> None:
    """State E back to B: the time without an answer runs on."""
    night = play("20.9 19.4 " + "20.9 " * 7)
    before = night.standing().unanswered_s
    night.play("19.3 19.3")
    assert night.now_in() == "unacknowledged"
    assert night.standing().unanswered_s == before


def test_a_lower_step_does_not_lighten_a_latched_alarm() -> None:
    """High, gone, and back as medium, all unanswered: it sounds as high."""
    night = play(
        "0 210" + " 0" * 8 + " 80", cabin(co_level(), keys=["co_ppm"]), key="co_ppm"
    )
    assert night.path("co-level") == (
        "normal unacknowledged latched-unacknowledged unacknowledged"
    )
    assert night.standing("co-level").priority is Priority.HIGH


def test_a_delay_that_was_broken_off_begins_anew() -> None:
    """Two spikes of three seconds are not one of six."""
    night = play("20.9 19.4 20.9 19.4", step_s=3.0)
    assert night.transitions() == []
    assert night.standing().rising_s == 9.0


def test_a_latch_that_resets_forgets_a_delay_begun_before() -> None:
    """A spike before the reset does not shorten the delay after it."""
    spec = o2_low(on_delay_s=20.0)
    standing = AlarmStatus(AlarmState.LATCHED_ACKNOWLEDGED, Priority.HIGH, rising_s=5.0)
    after = advance(spec, standing, Verdict(None), 10.0, 5.0)
    assert (after.state, after.rising_s) == (AlarmState.NORMAL, None)


def test_three_raises_in_a_minute_are_held_for_ten() -> None:
    """Chatter (check value `alarm_chatter`): one alarm stands instead of many."""
    spec = ladder("co-level", "co_ppm", (30.0, "low"))
    night = play("0 40 0 40 0 40", cabin(spec, keys=["co_ppm"]), key="co_ppm")
    assert len(night.transitions()) == 5
    began_s = night.now + 10.0
    while night.now_in("co-level") == "unacknowledged":
        night.play("0", key="co_ppm")
    assert night.now - began_s == CHATTER_HOLD_S


def test_chatter_is_heard_after_a_night_of_raises_too() -> None:
    """What rang and cleared four times before does not hide three in a minute."""
    spec = ladder("co-level", "co_ppm", (30.0, "low"))
    night = Night(cabin(spec, keys=["co_ppm"]))
    for _ in range(4):
        night.hold({"co_ppm": 40.0}, 60.0)
        night.hold({"co_ppm": 0.0}, 300.0)
    assert night.now_in("co-level") == "normal"
    night.play("40 0 40 0 40 0 0 0", key="co_ppm")
    assert night.now_in("co-level") == "unacknowledged"


def test_three_raises_in_more_than_a_minute_are_no_chatter() -> None:
    """The third raise 80 s after the first: each clears by itself."""
    spec = ladder("co-level", "co_ppm", (30.0, "low"))
    night = play("0 40 0 40 0 40 0", cabin(spec, keys=["co_ppm"]), 20.0, key="co_ppm")
    assert night.now_in("co-level") == "normal"


@pytest.mark.hazard("crying-wolf")
def test_sensor_noise_at_the_limit_does_not_chatter() -> None:
    """Noise of one step of 0.1 % about 19.5 % raises once in ten minutes.

    Check value `alarm_chatter`: it must not give three alarms in sixty seconds.
    """
    night = play("20.9 " + "19.4 19.5 19.6 19.5 19.6 " * 12)
    assert night.path() == "normal unacknowledged"


def test_what_only_tells_is_not_left_unanswered() -> None:
    """An hour at `low` is no escalation: it begins when it first wakes people."""
    setup = cabin(co_level(), keys=["co_ppm"])
    night = play("0 40" + " 40" * 360 + " 80", setup, key="co_ppm")
    standing = night.standing("co-level")
    assert (standing.escalation, standing.unanswered_s) == (0, night.now)
    assert [alert.escalation for _, alert in night.alerts()] == [0, 0]


def test_an_answer_changes_nothing_where_nothing_asks() -> None:
    """Acknowledging what is normal, acknowledged or aside leaves it as it is."""
    spec = o2_low()
    for state in (AlarmState.NORMAL, AlarmState.ACKNOWLEDGED, AlarmState.SHELVED):
        standing = AlarmStatus(state)
        answer = Act(ActKind.ACKNOWLEDGE)
        assert acknowledge(spec, standing, answer, 5.0) is standing


def test_a_phone_that_answers_all_the_time_takes_nothing_from_the_button() -> None:
    """A program far away is no button that chatters."""
    night = play("20.9 19.4 19.4")
    for _ in range(20):
        night.take(Act(ActKind.ACKNOWLEDGE, "no-such-alarm", "phone"), 0.5)
    assert "button" not in night.state.history.sources
    night.act("ack")
    assert night.now_in() == "acknowledged"


def test_a_stand_that_goes_on_keeps_its_beginning() -> None:
    """`since_s` is the first raise of this stand, whatever rings anew in it."""
    night = play("20.9 19.4 18.9 ack" + " 18.9" * 31)
    assert night.now_in() == "unacknowledged"
    assert {t.since_s for t in night.transitions()} == {20.0}


@pytest.mark.parametrize(
    ("was", "says", "hold", "holds"),
    [
        (None, None, Priority.HIGH, None),
        (Priority.HIGH, None, None, None),
        (Priority.HIGH, None, Priority.MEDIUM, Priority.MEDIUM),
        (Priority.MEDIUM, None, Priority.HIGH, Priority.MEDIUM),
        (Priority.LOW, Priority.HIGH, Priority.HIGH, Priority.HIGH),
        (Priority.HIGH, Priority.LOW, Priority.HIGH, Priority.HIGH),
    ],
)
def test_the_dead_band_holds_no_more_than_stood(
    was: Priority | None,
    says: Priority | None,
    hold: Priority | None,
    holds: Priority | None,
) -> None:
    """The dead-band keeps an alarm where it is and never lifts it."""
    assert held(was, Verdict(says, hold)) is holds


def test_ringing_blind_leaves_doubt_in_doubt() -> None:
    """A restart's alarm that rings anew without a reading is still in doubt."""
    standing = AlarmStatus(AlarmState.ACKNOWLEDGED, Priority.HIGH, in_doubt=True)
    after = advance(o2_low(), standing, None, 10.0, 5.0)
    assert after.state is AlarmState.UNACKNOWLEDGED
    assert after.in_doubt
    seen = advance(o2_low(), after, Verdict(Priority.HIGH), 20.0, 10.0)
    assert not seen.in_doubt


def test_ringing_out_of_nothing_counts_as_a_raise() -> None:
    """Only a new stand counts for chatter, not a step within one."""
    first = ring(AlarmStatus(), Trigger.RAISE, Verdict(Priority.LOW), Priority.LOW, 1.0)
    second = ring(first, Trigger.REALARM, Verdict(Priority.LOW), Priority.LOW, 2.0)
    assert (first.raises, second.raises) == ((1.0,), (1.0,))


def test_a_further_step_of_the_same_weight_rings_once_by_itself() -> None:
    """At 18 % oxygen the act is another one: it rings though no half percent worse."""
    night = play("20.9 18.3 18.3 ack 18.1 18.0 18.0")
    assert night.path().endswith("acknowledged unacknowledged")
    assert night.alerts()[-1][1].text == "o2-low high deep o2_pct=18 limit=18"
    night.play("ack 18.1 18.0 18.1 18.0")
    assert night.now_in() == "acknowledged"
    night.play("20.9 " * 8 + "19.4 19.4 ack 18.95 18.0")
    assert night.now_in() == "unacknowledged"


def test_a_sentence_stands_until_it_rings_anew() -> None:
    """What was told stays what is shown, while nothing new is told."""
    night = play("20.9 19.4 20.9 19.3 20.9 19.2")
    assert night.standing().text == "o2-low high  o2_pct=19.4 limit=19.5"
