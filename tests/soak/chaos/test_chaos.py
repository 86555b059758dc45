"""A small share of the chaos, and proof that its judge sees a watch that is broken."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import pytest

from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.outputs.signal import player
from cabinvigil.daemon.outputs.state_file import Kept, StateFile, UnreadError
from cabinvigil.daemon.service import pins
from cabinvigil.daemon.service.stopping import Stopping
from tests.soak.chaos.draw import Scenario, Trouble, draw
from tests.soak.chaos.judge import judge
from tests.soak.chaos.play import play

SEEDS = range(1, 7)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_promises_hold_whatever_fails_and_whenever(seed: int) -> None:
    """As the hundreds by command: `python -m tests.soak.chaos`."""
    found = judge(play(draw(seed)))
    assert found.broken == [], f"python -m tests.soak.chaos --only {seed}"
    assert found.stop_s


CALM = replace(
    draw(0),
    troubles=(),
    reloads=(),
    danger="co",
    danger_s=30.0,
    stops=(120.0,),
    has_second=False,
)


def with_(*troubles: Trouble) -> Scenario:
    return replace(CALM, troubles=troubles)


def _nobody(_pins: object, _left_s: float) -> list[str]:
    return []


def _unheld(_pins: object, _name: str, open_line: Any) -> Any:
    def opened() -> Any:
        line = open_line()
        line.set(on=True)
        line.set = lambda **_: None
        return line

    return opened


BROKEN: dict[str, tuple[Scenario, Callable[[], AbstractContextManager[object]], str]]
BROKEN = {
    "no sound": (
        CALM,
        lambda: patch.object(player.Player, "play", lambda *_, **__: None),
        "co since 30 s is not heard",
    ),
    "a fault that nobody ends": (
        with_(Trouble("light", "errs", 5.0, 20.0)),
        lambda: patch.object(FaultLatch, "ok", lambda *_, **__: None),
        "outlives its cause by 100 s",
    ),
    "a pin left high": (
        CALM,
        lambda: patch.multiple(pins.Pins, lower=_nobody, release=_nobody, held=_unheld),
        "sounder is left high",
    ),
    "no end": (
        CALM,
        lambda: patch.object(Stopping, "begin", lambda *_, **__: None),
        "took inf s",
    ),
    "a fault out of nowhere": (
        replace(with_(Trouble("light", "errs", 0.0, 60.0)), has_broker=False),
        lambda: patch("tests.soak.chaos.judge._is_told_as", lambda *_: False),
        "light port-missing from 0 to 60 s has no cause",
    ),
}


def _unretried(file: StateFile, *_: Any) -> Kept:
    try:
        return REAL_LOAD(file, *_)
    except UnreadError:
        return Kept()


REAL_LOAD = StateFile.load
BROKEN["a state that is forgotten while the disk errs"] = (
    replace(
        with_(Trouble("state disk", "errs", 99.0, 140.0)),
        danger="",
        stops=(100.0, 250.0),
    ),
    lambda: patch.object(StateFile, "load", _unretried),
    "what was kept is lost at 10",
)


@pytest.mark.parametrize("what", BROKEN)
def test_the_judge_sees_a_watch_that_is_broken(what: str) -> None:
    """Else a clean run would say nothing."""
    scenario, breaks, said = BROKEN[what]
    with breaks():
        found = judge(play(scenario))
    assert any(said in one for one in found.broken), found.broken


@pytest.mark.parametrize("what", BROKEN)
def test_and_nothing_in_one_that_is_whole(what: str) -> None:
    scenario, _, _ = BROKEN[what]
    assert judge(play(scenario)).broken == []


def test_a_scenario_is_played_alike_each_time() -> None:
    """What broke can be looked at again."""
    scenario = replace(draw(5), stops=(150.0,))
    first, again = (play(scenario) for _ in range(2))

    def seen(course: object) -> Iterator[object]:
        for name, pin in sorted(course.pins.items()):  # type: ignore[attr-defined]
            yield name, pin.changes

    assert list(seen(first)) == list(seen(again))
