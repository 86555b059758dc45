"""The light: blink rates against the medical standard, and that it never hides."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import AlarmState, Priority, Sound, Transition
from cabinvigil.daemon.outputs.signal.light import BLINKS_S, Light, blink, shown
from tests.outputs.hands import HandClock, Told
from tests.recording_line import RecordingLine

S = AlarmState


@pytest.mark.parametrize(
    ("state", "low_hz", "high_hz"), [("high", 1.4, 2.8), ("medium", 0.4, 0.8)]
)
def test_flash_rates_lie_in_the_standards_bands(
    state: str, low_hz: float, high_hz: float
) -> None:
    """IEC 60601-1-8 (check_values iec60601_lights, from memory); duty 20 to 60 %."""
    on_s, off_s = BLINKS_S[state]
    assert low_hz <= 1 / (on_s + off_s) <= high_hz
    assert 0.2 <= on_s / (on_s + off_s) <= 0.6


def test_low_is_all_but_steady_and_dark_means_dead() -> None:
    on_s, off_s = BLINKS_S["low"]
    assert on_s / (on_s + off_s) > 0.95
    for state in BLINKS_S:
        assert blink(state, 0.01).is_on, "every state shines at some time"


@pytest.mark.parametrize("state", BLINKS_S)
def test_every_state_has_edges_while_the_program_lives(state: str) -> None:
    """A circuit that listens for edges hears it: a dead program's pin has none."""
    at_s, edges_s = 0.0, [0.0]
    while at_s < 60.0:
        at_s = blink(state, at_s).next_change_s
        edges_s.append(at_s)
    assert max(b - a for a, b in pairwise(edges_s)) <= 15.0


def alarm(state: AlarmState, priority: Priority, name: str = "o2-low") -> Transition:
    return Transition(name, state, S.NORMAL, priority, "text", 0.0)


@pytest.mark.parametrize(
    ("standing", "word"),
    [
        ({}, "watching"),
        ({"a": (S.UNACKNOWLEDGED, Priority.HIGH)}, "high"),
        ({"a": (S.ACKNOWLEDGED, Priority.HIGH)}, "high"),
        ({"a": (S.LATCHED_ACKNOWLEDGED, Priority.MEDIUM)}, "medium"),
        ({"a": (S.RETURNED, Priority.MEDIUM)}, "low"),
        ({"a": (S.RETURNED, Priority.FAULT)}, "fault"),
        ({"a": (S.SHELVED, Priority.HIGH)}, "fault"),
        ({"a": (S.OUT_OF_SERVICE, Priority.HIGH)}, "fault"),
        (
            {
                "a": (S.ACKNOWLEDGED, Priority.LOW),
                "b": (S.UNACKNOWLEDGED, Priority.MEDIUM),
            },
            "medium",
        ),
    ],
)
def test_the_light_shows_the_gravest_condition(
    standing: dict[str, tuple[AlarmState, Priority]], word: str
) -> None:
    """Acknowledged conditions go on shining; a disabled watch shows as a fault."""
    assert shown(standing) == word


def test_it_follows_the_alarms() -> None:
    clock = HandClock()
    line = RecordingLine(clock)
    told = Told()
    light = Light(lambda: line, clock, told, inline=True)
    light.handle(Sound("temporal-four"), clock.stamp())
    light.handle(alarm(S.UNACKNOWLEDGED, Priority.HIGH), clock.stamp())
    assert line.is_on
    while clock.now_s < 2.0:
        clock.now_s += light.step(clock.now_s)
    rising = [at_s for at_s, on in line.changes if on]
    assert rising == [0.0, 0.5, 1.0, 1.5]
    light.handle(alarm(S.NORMAL, Priority.HIGH), clock.stamp())
    clock.now_s += 0.1
    light.step(clock.now_s)
    assert not line.is_on
    light.start()
    light.stop(0.1)
    assert line.is_closed
    assert told == []


@settings(max_examples=100)
@given(
    state=st.sampled_from([*BLINKS_S, "unknown"]),
    since_s=st.floats(min_value=-1.0, max_value=1e6),
)
def test_every_blink_goes_on(state: str, since_s: float) -> None:
    edge = blink(state, since_s)
    assert edge.next_change_s > since_s
