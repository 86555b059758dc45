"""The page is no more comforting than what it heard, and when it heard it."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.outputs.mqtt.messages import LOST, WATCHING
from cabinvigil.daemon.phone.board import SAFE_S
from cabinvigil.daemon.phone.inbound import (
    AlarmHeard,
    BeatHeard,
    EstimatesHeard,
    TextHeard,
)
from tests.phone.test_board import RUNS, Shown

STEPS = ("beat", "read", "pass", "lost", "watching", "blind", "temp", "restart", "ack")
ANSWERED = "Ana's phone acknowledged the alarm: no sound for 5 minutes."


def beat(shown: Shown, *unknown: str) -> None:
    one = BeatHeard(
        *("lapwing", shown.run, shown.next(), shown.now_s - 900.0, 30.0),
        unknown=unknown,
    )
    shown.silence.heartbeat(one, shown.now_s, is_retained=False)
    shown.board.alive(one, shown.now_s)


def alarm(shown: Shown, name: str, since: str, text: str, state: str) -> None:
    shown.hear(
        AlarmHeard(
            *("lapwing", name, state, "high", 5, text),
            *(f"2026-01-16T{since}:00.000Z", shown.run, shown.next()),
        )
    )


def fresh() -> Shown:
    shown = Shown()
    beat(shown)
    shown.silence.presence("lapwing", WATCHING, shown.now_s)
    shown.read(o2_pct=20.6, co_ppm=1.0)
    return shown


@pytest.mark.hazard("record-comforts")
@given(st.lists(st.sampled_from(STEPS), max_size=30), st.randoms(use_true_random=False))
@settings(max_examples=150, deadline=None)
def test_safe_is_what_a_living_monitor_measures_now(
    steps: list[str], random: Random
) -> None:
    """Whatever comes in whatever order: safe is a gas of 30 s, and nothing unknown.

    A bystander counts along: the last gas, what the last heartbeat lacked, and whether
    the broker has said that the monitor died.
    """
    shown = fresh()
    read_s, is_blind, is_lost = shown.now_s, False, False
    for step in steps:
        match step:
            case "beat" | "blind":
                is_blind = step == "blind"
                beat(shown, *(("co_ppm",) if is_blind else ()))
            case "read":
                shown.read(o2_pct=20.6)
                read_s = shown.now_s
            case "temp":
                shown.read(temp_c=12.0)
            case "pass":
                shown.pass_s(random.uniform(1.0, 40.0))
            case "lost" | "watching":
                is_lost = step == "lost"
                word = LOST if is_lost else WATCHING
                shown.silence.presence("lapwing", word, shown.now_s)
            case "restart":
                shown.run, is_blind = RUNS[1], False
                beat(shown)
            case "ack":
                text = TextHeard("lapwing", False, ANSWERED, "answered", 1, "id", 60.0)
                shown.hear(text)
        if shown.word() == "safe":
            assert shown.now_s - read_s <= SAFE_S
            assert not is_blind
            assert not is_lost


@pytest.mark.hazard("record-comforts")
def test_a_monitor_that_died_is_not_safe_for_its_last_numbers() -> None:
    """The broker says so within its keep-alive; silence is told a minute later."""
    shown = fresh()
    assert shown.word() == "safe"
    shown.silence.presence("lapwing", LOST, shown.now_s)
    assert shown.word() == "not known"
    assert shown.view()["cause"] == "lost"


@pytest.mark.hazard("blind-part")
def test_what_warms_up_is_looked_at() -> None:
    """Oxygen has a number, and nobody vouches for it yet."""
    shown = fresh()
    beat(shown, "o2_pct", "co_ppm")
    assert shown.word() == "look"
    said = "No reliable reading of oxygen or carbon monoxide now."
    assert shown.view()["blind"] == said


@pytest.mark.hazard("silenced-by-answer")
def test_who_acknowledged_is_not_said_of_what_sounds_later() -> None:
    """ "No sound for 5 minutes" above an alarm that sounds keeps people in bed."""
    shown = fresh()
    alarm(shown, "o2-low", "22:00", "Low. Get out.", "unacknowledged")
    alarm(shown, "o2-low", "22:00", "Low. Get out.", "acknowledged")
    shown.hear(TextHeard("lapwing", False, ANSWERED, "answered", 1, "id", 60.0))
    assert shown.view()["answered"] == ANSWERED
    alarm(shown, "o2-low", "22:00", "Low. Get out.", "unacknowledged")
    assert shown.view()["answered"] == ""
    shown.hear(TextHeard("lapwing", False, ANSWERED, "answered", 1, "id", 60.0))
    alarm(shown, "co-level", "22:04", "Gas. Get out.", "unacknowledged")
    assert shown.view()["answered"] == ""


def test_a_new_run_takes_neither_forecasts_nor_answers_of_the_old() -> None:
    shown = fresh()
    alarm(shown, "o2-low", "22:00", "Low. Get out.", "acknowledged")
    shown.hear(TextHeard("lapwing", False, ANSWERED, "answered", 1, "id", 60.0))
    shown.hear(EstimatesHeard("lapwing", {"o2_minutes_to_19_5": [1.0, 2.0, 3.0]}))
    shown.run = RUNS[1]
    beat(shown)
    view = shown.view()
    assert view["answered"] == ""
    assert "o2_minutes_to_19_5" not in (view["estimates"] or {})


def test_of_two_dangers_the_newer_leads() -> None:
    """The forecast of half an hour ago said 19.8 %, and it has come since."""
    shown = fresh()
    alarm(shown, "o2-projected", "22:00", "19.8 %. Get out.", "unacknowledged")
    alarm(shown, "o2-low", "22:06", "19.4 %. Get out.", "unacknowledged")
    assert shown.view()["stands"][0]["text"] == "19.4 %. Get out."
    unresolved = shown.board.unresolved("lapwing", shown.now_s)
    assert unresolved == "19.4 %. Get out."
    assert fresh().board.unresolved("lapwing", shown.now_s) == ""
