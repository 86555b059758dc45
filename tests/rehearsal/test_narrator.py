"""A rehearsal's lines: what a sleeper hears, and what each phone really gets."""

from datetime import UTC, datetime

import pytest

from cabinvigil.daemon.core.model import (
    AlarmState,
    Alert,
    Priority,
    Sound,
    Transition,
)
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Forms
from cabinvigil.daemon.rehearsal.account import verdict
from cabinvigil.daemon.rehearsal.narrator import Narrator

NOW = Stamp(60.0, datetime(2026, 1, 16, 2, 10, 5, tzinfo=UTC))
TEXT = "Gas leak. Get everyone outside now: no flames, no switches."


def lines(*commands: Alert | Sound) -> list[str]:
    said: list[str] = []
    forms = Forms()
    narrator = Narrator(
        said.append, UTC, lambda alert: forms.for_the_second(alert, "lapwing")
    )
    for command in commands:
        narrator.handle(command, NOW)
    return said


def test_each_phone_has_its_own_line() -> None:
    """The second phone's is not the sleeper's; signal words, not priorities."""
    told = [Alert("gas-leak", Priority.HIGH, TEXT, level) for level in (0, 1, 2)]
    assert lines(*told) == [
        f"02:10:05  phone  DANGER  {TEXT}",
        f"02:10:05  phone  DANGER  {TEXT} (not acknowledged, repeated)",
        (
            "02:10:05  second phone  DANGER  Call Lapwing now, no one answers. Gas "
            "leak. If nobody picks up, call the emergency number."
        ),
    ]


def test_news_is_no_alarm() -> None:
    """No signal word stands before good news."""
    news = [Alert("all-clear", Priority.LOW, "All is good.", n) for n in (0, 2)]
    assert lines(*news) == [
        "02:10:05  phone  All is good.",
        "02:10:05  second phone  Lapwing: All is good.",
    ]


def test_a_sound_is_said_with_what_it_asks_for() -> None:
    """And whether the second sounder plays it too."""
    said = lines(Sound("temporal-four"), Sound("three-pulse", louder=True))
    assert said[0].endswith("again: everyone outside, the second sounder too")
    assert said[1].endswith("wake and ventilate, the second sounder too")


def stand(priority: Priority, was: AlarmState, alarm: str = "co-level") -> Transition:
    """An alarm that rings at a priority, from a state."""
    return Transition(alarm, AlarmState.UNACKNOWLEDGED, was, priority, TEXT, 0.0)


@pytest.mark.parametrize(
    ("told", "woken"),
    [
        ([(Priority.LOW, "normal")], None),
        ([(Priority.MEDIUM, "normal")], "carbon monoxide (wake); 1 waking"),
        (
            [(Priority.LOW, "normal"), (Priority.MEDIUM, "unacknowledged")],
            "carbon monoxide (wake); 1 waking",
        ),
        (
            [(Priority.FAULT, "normal"), (Priority.HIGH, "unacknowledged")],
            "carbon monoxide (danger); 1 waking",
        ),
        (
            [(Priority.MEDIUM, "normal"), (Priority.HIGH, "unacknowledged")],
            "carbon monoxide (wake); 1 waking",
        ),
        (
            [(Priority.HIGH, "normal"), (Priority.HIGH, "normal")],
            "carbon monoxide (danger); 2 waking",
        ),
    ],
)
def test_whoever_was_woken_is_told_so_however_the_alarm_began(
    told: list[tuple[Priority, str]], woken: str | None
) -> None:
    """An alarm that begins as a chirp and grows wakes people as one that begins so."""
    narrator = Narrator(lambda line: None, UTC)
    for priority, was in told:
        narrator.handle(stand(priority, AlarmState(was)), NOW)
    said = next(verdict([], narrator.rings))
    if woken is None:
        assert said == "Nothing woke the sleepers."
    else:
        assert said.startswith("First woken at ")
        assert woken in said
