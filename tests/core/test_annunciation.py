"""The one sound, and the escalation."""

import pytest

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.annunciation import (
    PATTERNS,
    choose_sound,
    escalate,
)
from cabinvigil.daemon.core.model import AlarmState, Priority, Sound

S, P = AlarmState, Priority


def sounding(
    priority: Priority, since_s: float = 0.0, escalation: int = 0
) -> AlarmStatus:
    return AlarmStatus(
        S.UNACKNOWLEDGED, priority, unanswered_s=since_s, escalation=escalation
    )


def test_silence_where_nothing_calls() -> None:
    """Normal, answered, aside and `low` alarms make no sound."""
    standings = {state.value: AlarmStatus(state, P.HIGH) for state in S}
    del standings["unacknowledged"], standings["latched-unacknowledged"]
    assert choose_sound(standings | {"low": sounding(P.LOW)}) == Sound("quiet")
    assert choose_sound({}) == Sound("quiet")


def test_each_sound_means_what_its_standard_says() -> None:
    """Temporal-four for gas (`sound_t4`), three pulses for medium (IEC 60601-1-8)."""
    for priority, pattern in {
        P.HIGH: "temporal-four",
        P.MEDIUM: "three-pulse",
        P.FAULT: "chirp",
    }.items():
        assert choose_sound({"one": sounding(priority)}) == Sound(pattern, "one")
    assert "temporal-three" not in PATTERNS.values()


def test_the_gravest_goes_first_whatever_the_order() -> None:
    """A chirp yields to a burst, a burst to temporal-four."""
    order = (P.FAULT, P.HIGH, P.LOW, P.MEDIUM)
    # The graver ones came last: how long each waits must not decide it.
    many = {p.word: sounding(p, 10.0 * p.value) for p in order}
    assert choose_sound(many) == Sound("temporal-four", "high")
    del many["high"]
    assert choose_sound(many) == Sound("three-pulse", "medium")
    del many["medium"]
    assert choose_sound(many) == Sound("chirp", "fault")


def test_of_equals_the_one_that_waits_longest_rules() -> None:
    """The oldest unanswered alarm names the sound; it does not flicker between them."""
    pair = {"late": sounding(P.HIGH, 50.0), "early": sounding(P.HIGH, 10.0)}
    assert choose_sound(pair).alarm == "early"
    twins = {"a": sounding(P.HIGH, 10.0), "b": sounding(P.HIGH, 10.0)}
    assert (
        choose_sound(twins).alarm == choose_sound(dict(reversed(twins.items()))).alarm
    )


def test_a_latched_alarm_sounds_on() -> None:
    """State E of the standard is annunciated."""
    standing = AlarmStatus(S.LATCHED_UNACKNOWLEDGED, P.HIGH)
    assert choose_sound({"one": standing}).pattern == "temporal-four"


def test_a_graver_alarm_does_not_take_the_second_sounder_away() -> None:
    """Louder while anything has waited for long, whichever alarm names the sound."""
    pair = {"old": sounding(P.MEDIUM, 0.0, 1), "new": sounding(P.HIGH, 200.0)}
    assert choose_sound(pair) == Sound("temporal-four", "new", louder=True)


@pytest.mark.parametrize(
    ("waited_s", "level"),
    [(0.0, 0), (119.9, 0), (120.0, 1), (299.9, 1), (300.0, 2), (9999.0, 2)],
)
def test_escalation_goes_by_the_time_without_an_answer(
    waited_s: float, level: int
) -> None:
    """Two minutes, five minutes (issue 7), and no further."""
    standings = {"one": sounding(P.MEDIUM)}
    changed = escalate(standings, (120.0, 300.0), waited_s)
    assert changed.get("one", standings["one"]).escalation == level
    assert bool(changed) is bool(level)


def test_only_what_wakes_people_escalates() -> None:
    """No chirp and no `low` is ever told to the second phone."""
    standings = {"fault": sounding(P.FAULT), "low": sounding(P.LOW)}
    assert escalate(standings, (120.0, 300.0), 9999.0) == {}
    answered = {"one": AlarmStatus(S.ACKNOWLEDGED, P.HIGH)}
    assert escalate(answered, (120.0, 300.0), 9999.0) == {}
    behind = standings | answered | {"unheard": sounding(P.HIGH)}
    assert escalate(behind, (120.0, 300.0), 9999.0).keys() == {"unheard"}
