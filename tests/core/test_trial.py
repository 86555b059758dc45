"""A trial: all sounds as ever, no second phone is told, and what is over is over."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.core.model import Act, ActKind, Alert, Priority
from cabinvigil.daemon.core.notification import of_trial
from cabinvigil.daemon.core.snapshot import carry_over, restore, to_plain
from cabinvigil.daemon.core.trial import LONGEST_S, USUAL_S
from cabinvigil.daemon.settings.words import renderer
from tests.core.scenario import Night, cabin, co_level, ladder, o2_low

AIR = {"co_ppm": 0.0, "o2_pct": 20.9}
FOUL = {"co_ppm": 120.0, "o2_pct": 18.9}
EDGE = {"co_ppm": 0.0, "o2_pct": 19.2}


def calm() -> Night:
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold(AIR, 60.0)
    return night


def begin(
    night: Night, until: str = "", for_s: float = 0.0, by: str = "socket"
) -> None:
    act = Act(ActKind.TRIAL, until, by, "roof vent a third open", for_s)
    night.take(act, 1.0)


def end(night: Night, by: str = "socket") -> None:
    night.take(Act(ActKind.TRIAL_END, by=by), 1.0)


def whys(night: Night) -> list[str]:
    return [one.fields.get("why", "") for one in night.records("trial")]


@pytest.mark.hazard("silenced-by-test")
def test_all_sounds_and_only_the_first_phone_hears_that_it_is_a_trial() -> None:
    night = calm()
    begin(night)
    night.hold(FOUL, 1800.0)
    assert "temporal-four" in [pattern for _, pattern in night.sounds()]
    told = night.alerts()
    assert told
    assert {one.escalation for _, one in told} <= {0, 1}, "nothing to the second phone"
    assert all("trial" in one.text for _, one in told)
    assert night.transitions("o2-low"), "logged as ever"


@pytest.mark.hazard("silenced-by-test")
@pytest.mark.parametrize("how", ["command", "button", "time", "limit", "restart"])
def test_what_stands_at_its_end_is_an_alarm_that_begins_then(how: str) -> None:
    """The first phone hears of it at once, the second after five minutes as ever."""
    night = calm()
    begin(night, "o2-low" if how == "limit" else "", 900.0 if how == "time" else 0.0)
    night.hold(FOUL, 880.0 if how != "limit" else 10.0)
    if how == "command":
        end(night)
    elif how == "button":
        night.act("ack")
    elif how == "restart":
        night.state, _ = restore(
            night.setup, to_plain(night.state), night.now, down_s=1.0
        )
    ended_s = night.now
    night.hold(FOUL, 420.0)
    assert whys(night) == ["", how]
    assert night.state.trial is None
    told = [(at - ended_s, one) for at, one in night.alerts() if at >= ended_s]
    assert "trial" not in told[0][1].text or told[0][1].alarm == "trial-over"
    alarms = [(at, one) for at, one in told if one.alarm == "o2-low"]
    assert alarms[0][0] <= 40.0
    assert alarms[0][1].text.startswith("o2-low")
    seconds = [at for at, one in alarms if one.escalation == 2]
    assert seconds, "and the second phone, unanswered, as by any other alarm"
    assert seconds[0] >= 290.0
    assert night.state.sound.pattern == "temporal-four"


def test_the_press_that_ends_it_quiets_nothing() -> None:
    night = calm()
    begin(night)
    night.hold(FOUL, 600.0)
    night.act("ack")
    assert night.state.sound.pattern == "temporal-four"
    night.hold(FOUL, 10.0)
    night.act("ack")
    assert night.now_in("o2-low") == "acknowledged"


def test_an_answer_by_phone_quiets_and_the_trial_goes_on() -> None:
    night = calm()
    begin(night)
    night.hold(FOUL, 60.0)
    night.act("ack", by="phone")
    night.hold(FOUL, 10.0)
    assert night.state.trial is not None
    end(night, by="phone")
    assert whys(night) == ["", "command"]


@pytest.mark.hazard("silenced-by-test")
@pytest.mark.parametrize(
    ("before", "act"),
    [
        ({}, {"by": "phone"}),
        (FOUL, {}),
        ({"o2_pct": 20.9}, {}),
        ({}, {"until": "no-such"}),
        ({}, {"for_s": LONGEST_S + 1.0}),
    ],
    ids=["a phone", "foul air", "a part is silent", "no such alarm", "too long"],
)
def test_it_begins_in_known_calm_air_by_somebody_at_the_cabin(
    before: dict[str, float], act: dict[str, object]
) -> None:
    night = calm()
    if before:
        night.hold(before, 300.0)
    begin(night, **act)  # type: ignore[arg-type]
    assert night.state.trial is None
    assert night.records("trial") == []


def test_no_second_one_begins_and_the_usual_one_lasts_three_hours() -> None:
    night = calm()
    begin(night)
    began_s = night.now
    begin(night, for_s=600.0)
    assert [one.fields["for_s"] for one in night.records("trial")] == [USUAL_S]
    night.hold(AIR, USUAL_S + 60.0, 30.0)
    (ended,) = [at for at, one in night.said if getattr(one, "event", "") == "trial"][
        1:
    ]
    assert ended - began_s == pytest.approx(USUAL_S, abs=31.0)
    assert [one.alarm for _, one in night.alerts()] == ["trial-over"]


@pytest.mark.hazard("silenced-by-test")
def test_nobody_breathed_it() -> None:
    """The dose of carbon monoxide is that of before, whatever the trial's air was."""
    night = calm()
    night.hold({"co_ppm": 25.0, "o2_pct": 20.9}, 1800.0)
    before = night.state.history.dose
    begin(night)
    night.hold({"co_ppm": 600.0, "o2_pct": 20.9}, 1800.0)
    assert night.state.history.dose.cohb_pct > before.cohb_pct + 5.0, "measured as ever"
    end(night)
    assert night.state.history.dose == before


def test_a_config_that_is_read_anew_does_not_end_it() -> None:
    night = calm()
    begin(night)
    night.state, lost = carry_over(night.state, night.setup, night.now)
    assert not lost
    assert night.state.trial is not None
    night.hold(FOUL, 600.0)
    assert {one.escalation for _, one in night.alerts()} <= {0, 1}


def test_the_all_clear_after_it_is_owed_as_ever() -> None:
    night = calm()
    begin(night)
    night.hold(EDGE, 60.0)
    end(night)
    night.hold(AIR, 1200.0)
    night.act("ack")
    night.hold(AIR, 1200.0)
    assert [one.alarm for _, one in night.alerts()][-1] == "all-clear"


def test_a_restart_in_it_breathes_none_of_it_either() -> None:
    """A power cut in a trial of 600 ppm: the blood is that of before the trial."""
    night = calm()
    before = night.state.history.dose
    begin(night)
    night.hold({"co_ppm": 600.0, "o2_pct": 20.9}, 1800.0)
    plain = to_plain(night.state)
    state, lost = restore(night.setup, plain, 0.0, down_s=30.0)
    assert not lost
    assert state.history.dose.cohb_pct == pytest.approx(before.cohb_pct)
    assert state.history.dose.alarm_fraction == pytest.approx(before.alarm_fraction)


def test_an_alarm_that_is_active_already_cannot_end_it() -> None:
    """It would end in the moment in which it began, and nobody would see it."""
    damp = ladder("damp", "rh_pct", (80.0, "low"))
    night = Night(cabin(co_level(), damp, keys=["co_ppm", "rh_pct"]))
    night.hold({"co_ppm": 0.0, "rh_pct": 90.0}, 60.0)
    assert night.state.standings["damp"].stands
    begin(night, "damp")
    assert not night.records("trial")
    begin(night, "co-level")
    assert night.state.trial is not None


def test_a_caution_asks_nothing_of_an_empty_cabin() -> None:
    """ "Take another blanket" went to a phone whose owner stood outside."""
    setup = replace(calm().setup, render=renderer("en", None))
    texts = {
        Priority.LOW: "Cold at the bunk: 2 °C. Take another blanket.",
        Priority.MEDIUM: "Bad air. Open the door and vents now.",
        Priority.FAULT: "The sensor is silent. Check its plug.",
    }
    alerts = [Alert("cold", one, text, 0, 60.0) for one, text in texts.items()]
    alerts.append(Alert("answered", Priority.LOW, "Ana heard it. Quiet.", 0, 60.0))
    assert [one.text for one in of_trial(setup, alerts)] == [
        "TRIAL: Cold at the bunk: 2\u00a0°C.",
        "TRIAL: Bad air. Open the door and vents now.",
        "TRIAL: The sensor is silent. Check its plug.",
        "TRIAL: Ana heard it. Quiet.",
    ]


def test_what_a_trial_missed_to_say_is_not_said_after_it() -> None:
    """Three texts in ten minutes are all; the fourth came when people were back."""
    night = calm()
    begin(night)
    night.hold(AIR, 10.0)
    told = replace(night.state.told, missed=("Poison gas, a little",))
    night.state = replace(night.state, told=told)
    end(night)
    assert night.state.told.missed == ()
