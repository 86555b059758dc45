"""All that the watch knows, as text and back: the next steps are the same."""

from dataclasses import replace
from random import Random

import pytest

from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.log.whole_state import WholeStateError, from_text, to_text
from tests.replay.cutting import Steps, any_night, lapwing


def after(steps: Steps, count: int) -> State:
    state = start(compose_settings(lapwing()).setup, 0.0)
    for at_s, event in steps[:count]:
        state, _ = step(state, event, at_s)
    return state


@pytest.mark.parametrize("count", [0, 1, 40, 200])
def test_the_steps_after_it_are_the_same(count: int) -> None:
    steps = any_night(Random(6), 1.0)
    own = after(steps, count)
    read = from_text(own.setup, to_text(own))
    for at_s, event in steps[count:]:
        own, said = step(own, event, at_s)
        read, again = step(read, event, at_s)
        assert again == said, at_s


def test_another_setup_takes_what_it_has() -> None:
    """An alarm or a series that came since begins as at a start."""
    steps = any_night(Random(7), 0.6)
    state = after(steps, len(steps))
    setup = state.setup
    fewer = replace(setup, alarms=setup.alarms[:3], trend=None)
    read = from_text(fewer, to_text(state))
    assert list(read.standings) == [one.id for one in fewer.alarms]
    assert read.trend_state is None
    step(read, steps[-1][1], state.now + 1.0)
    text = to_text(replace(state, standings={}))
    assert from_text(setup, text).standings.keys() == state.standings.keys()


@pytest.mark.parametrize("text", ["", "=", "AAAA", "eJyrVgoJVrICAAXnAZk="])
def test_what_is_no_state_is_refused(text: str) -> None:
    with pytest.raises(WholeStateError):
        from_text(start(compose_settings(lapwing()).setup, 0.0).setup, text)
