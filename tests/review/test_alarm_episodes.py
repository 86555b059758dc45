"""Stands of alarms, gathered from the transitions of a log."""

from typing import Any

from cabinvigil.daemon.log.night import Event
from cabinvigil.daemon.review.alarm_episodes import AlarmEpisode, alarm_episodes


def moves(*steps: tuple[float, str, str, str], alarm: str = "o2-low") -> list[Event]:
    """(at, state, was, priority), each a transition."""
    return [
        Event(
            at_s,
            "alarm",
            {
                "alarm": alarm,
                "state": state,
                "was": was,
                "priority": priority,
                "text": f"{alarm} {priority}",
                "first_up": True,
            },
        )
        for at_s, state, was, priority in steps
    ]


def only(events: list[Event]) -> AlarmEpisode:
    (stand,) = alarm_episodes(events)
    return stand


def test_a_stand_lasts_from_its_raise_until_its_condition_is_gone() -> None:
    """Returned unanswered, it still sounds, and the condition is over."""
    stand = only(
        moves(
            (60.0, "unacknowledged", "normal", "medium"),
            (300.0, "returned-unacknowledged", "unacknowledged", "medium"),
            (400.0, "normal", "returned-unacknowledged", "medium"),
        )
    )
    assert (stand.from_s, stand.to_s, stand.acknowledged_s) == (60.0, 300.0, None)


def test_what_stands_at_the_end_has_no_end() -> None:
    """None: it still stood."""
    assert only(moves((60.0, "unacknowledged", "normal", "high"))).to_s is None


def test_a_rise_keeps_the_highest_priority_and_its_sentence() -> None:
    """Steps within one alarm are one stand, rung again."""
    stand = only(
        moves(
            (60.0, "unacknowledged", "normal", "medium"),
            (90.0, "unacknowledged", "unacknowledged", "high"),
            (99.0, "unacknowledged", "unacknowledged", "medium"),
        )
    )
    assert (stand.priority, stand.text, stand.rings) == ("high", "o2-low high", 3)


def test_the_time_to_the_first_answer_is_told() -> None:
    """From its first ring; ringing anew does not change it."""
    stand = only(
        moves(
            (60.0, "unacknowledged", "normal", "high"),
            (105.0, "acknowledged", "unacknowledged", "high"),
            (400.0, "unacknowledged", "acknowledged", "high"),
            (500.0, "acknowledged", "unacknowledged", "high"),
        )
    )
    assert stand.acknowledged_s == 45.0
    assert stand.rings == 2


def test_a_latched_one_ends_with_its_condition() -> None:
    """A high alarm that is gone stays latched until reset, and the air is good."""
    stand = only(
        moves(
            (60.0, "unacknowledged", "normal", "high"),
            (200.0, "latched-unacknowledged", "unacknowledged", "high"),
            (230.0, "latched-acknowledged", "latched-unacknowledged", "high"),
            (500.0, "normal", "latched-acknowledged", "high"),
        )
    )
    assert (stand.to_s, stand.acknowledged_s) == (200.0, 170.0)


def test_what_comes_again_is_another_stand() -> None:
    """Twice in a night is two lines."""
    found = alarm_episodes(
        moves(
            (60.0, "unacknowledged", "normal", "low"),
            (90.0, "normal", "unacknowledged", "low"),
            (600.0, "unacknowledged", "normal", "low"),
        )
    )
    assert [one.from_s for one in found] == [60.0, 600.0]


def test_what_was_never_told_is_left_out_until_it_is() -> None:
    """Suppressed under its cause, it stood silent; brought out, it rang."""
    silent = moves((60.0, "suppressed", "normal", "fault"))
    assert alarm_episodes(silent) == []
    out = [*silent, *moves((90.0, "unacknowledged", "suppressed", "fault"))]
    assert only(out).from_s == 90.0


def test_a_restart_that_kept_nothing_begins_anew() -> None:
    """What stood in the run before has no end in it."""
    start = Event(100.0, "start", {})
    events = [
        *moves((60.0, "unacknowledged", "normal", "high")),
        start,
        *moves((160.0, "unacknowledged", "normal", "high")),
    ]
    assert [one.from_s for one in alarm_episodes(events)] == [60.0, 160.0]


def test_air_and_faults_are_told_apart() -> None:
    """Parts, the watch and the battery are no air."""
    names = {"o2-low": True, "displaced-air": True, "sensor-stale/o2_pct": False}
    names |= {"watch-fault/log": False, "supply-low": False, "gases-disagree": False}
    for name, is_air in names.items():
        stand = only(moves((0.0, "unacknowledged", "normal", "low"), alarm=name))
        assert stand.is_about_air is is_air


def test_odd_fields_make_no_trouble() -> None:
    """A log of another kind of software."""
    odd: list[Any] = [None, 7, ["x"], {}]
    events = [Event(0.0, "alarm", {"alarm": one, "state": one}) for one in odd]
    assert all(isinstance(one.alarm, str) for one in alarm_episodes(events))


def test_a_condition_that_comes_back_unanswered_goes_on() -> None:
    """Gone for a while and back before anybody answered: one stand, not yet over."""
    stand = only(
        moves(
            (60.0, "unacknowledged", "normal", "medium"),
            (300.0, "returned-unacknowledged", "unacknowledged", "medium"),
            (400.0, "unacknowledged", "returned-unacknowledged", "medium"),
        )
    )
    assert (stand.from_s, stand.to_s, stand.rings) == (60.0, None, 2)
