"""The shell's middle: what it rounds, when it hurries, and whom it tells."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import pytest

from cabinvigil.daemon.compose.compose import CoreBuild, compose_columns
from cabinvigil.daemon.core.alarm_status import HEARD_S
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Command,
    Record,
    Sound,
    SourceFault,
    Transition,
)
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.service.watcher import Watcher, round_reading
from cabinvigil.daemon.settings.config import Cabin, standard
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers.kit.steps import Sample


class HandClock:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def monotonic(self) -> float:
        return self.now_s

    def wall(self) -> datetime:
        return datetime(2026, 1, 16, 21, 0, tzinfo=UTC)


class Kept:
    """An output that keeps what it is offered."""

    name = "kept"

    def __init__(self) -> None:
        self.got: list[Command] = []

    def handle(self, command: Command, stamp: Stamp) -> None:
        self.got.append(command)

    def start(self) -> None: ...

    def stop(self, deadline_s: float) -> None: ...

    def of(self, kind: type) -> list[Any]:
        return [command for command in self.got if isinstance(command, kind)]


def _composed(columns: Sequence[str] = ("o2_pct", "co_ppm")) -> CoreBuild:
    cabin = Cabin(name="lapwing")
    settings = standard(cabin)
    return compose_columns(columns, 1.0, cabin, settings.alarms, renderer("en"))


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


def _watcher(clock: HandClock, **others: Any) -> tuple[Watcher, Kept]:
    kept = Kept()
    return Watcher(_composed(), clock, [kept], **others), kept


def test_time_and_values_are_rounded_as_the_log_writes_them(clock: HandClock) -> None:
    """A replay sees the very numbers that were decided on."""
    watcher, kept = _watcher(clock)
    clock.now_s += 1.23456
    watcher.on_reading("o2_pct", [Sample("o2_pct", 20.123456)], clock.now_s)
    watcher.tick()
    (air,) = kept.of(Record)
    assert air.fields == {"o2_pct": 20.123}
    assert watcher.state.history.now == 1.235


def test_a_value_is_given_once(clock: HandClock) -> None:
    """The next tick without a reading holds nothing: no last value lives on."""
    watcher, kept = _watcher(clock)
    watcher.on_reading("co_ppm", [Sample("co_ppm", 3.0)], clock.now_s)
    watcher.tick()
    clock.now_s += 1.0
    watcher.tick()
    assert [record.fields for record in kept.of(Record)] == [{"co_ppm": 3.0}, {}]


def test_quality_goes_with_its_value(clock: HandClock) -> None:
    """A later good value of the same tick takes the earlier one's doubt away."""
    watcher, kept = _watcher(clock)
    doubt = Sample("co_ppm", 3.0, "outside-range", "cold")
    full = Sample("o2_pct", 25.0, "at-least", "full scale")
    watcher.on_reading("co_ppm", [doubt], clock.now_s)
    watcher.on_reading("o2_pct", [full], clock.now_s)
    watcher.tick()
    watcher.on_reading("co_ppm", [doubt, Sample("co_ppm", 4.0)], clock.now_s)
    watcher.tick()
    first, second = (record.fields for record in kept.of(Record)[:2])
    assert first["doubtful"] == ["co_ppm"]
    assert first["at_least"] == ["o2_pct"]
    assert second == {"co_ppm": 4.0}


def test_what_nobody_asked_for_is_passed_over(clock: HandClock) -> None:
    """A part's quantity that is not served is kept for others, and not judged."""
    watcher, kept = _watcher(clock)
    watcher.on_reading("baro", [Sample("pressure_hpa", 938.0)], clock.now_s)
    watcher.tick()
    assert kept.of(Record)[0].fields == {}
    assert watcher.lookup("baro", "pressure_hpa", 10.0) == 938.0
    clock.now_s += 11.0
    assert watcher.lookup("baro", "pressure_hpa", 10.0) is None
    assert watcher.lookup("baro", "temp_c", 10.0) is None


@pytest.mark.parametrize(
    ("quantity", "values", "hurries"),
    [
        ("co_ppm", (10.0, 29.0), []),
        ("co_ppm", (10.0, 30.0, 71.0, 201.0), [1, 2, 3]),
        ("o2_pct", (20.0, 19.5, 18.0), [1, 2]),
        ("o2_pct", (20.0, 23.5), [1]),
    ],
)
def test_each_limit_that_is_passed_does_not_wait_for_the_tick(
    clock: HandClock, quantity: str, values: tuple[float, ...], hurries: list[int]
) -> None:
    """Every step of a ladder hurries, though the step before did so just now."""
    hurried: list[int] = []
    given: list[float] = []
    watcher, _ = _watcher(clock, on_urgent=lambda: hurried.append(len(given)))
    for value in values:
        watcher.on_reading(quantity, [Sample(quantity, value)], clock.now_s)
        watcher.tick()
        given.append(value)
        clock.now_s += 0.1
    assert hurried == hurries


def _played(
    clock: HandClock, tick_s: float, readings: Sequence[float], step_s: float
) -> Kept:
    """Play a course of CO; ticks come as the watcher asks for them."""
    watcher, kept = _watcher(clock, on_urgent=lambda: asked.append(True))
    asked: list[bool] = []
    due_s = clock.now_s + tick_s
    for value in readings:
        clock.now_s += step_s
        watcher.on_reading("co_ppm", [Sample("co_ppm", value)], clock.now_s)
        if asked or clock.now_s >= due_s:
            asked.clear()
            watcher.tick()
            due_s = max(due_s, clock.now_s + tick_s if clock.now_s >= due_s else due_s)
    return kept


def test_a_slow_tick_hides_no_danger_and_no_peak(clock: HandClock) -> None:
    """50 s at 300 ppm between two ticks of a minute: told at once, with its course."""
    readings = [0.0] * 5 + [300.0] * 49 + [320.0] + [0.0] * 5
    kept = _played(clock, 60.0, readings, 1.0)
    rung = [t for t in kept.of(Transition) if t.alarm == "co-level"]
    assert rung[0].priority.word == "high"
    logged = [record.fields["co_ppm"] for record in kept.of(Record)]
    assert logged == [*([300.0] * 49), 320.0, 0.0, 0.0]


def test_at_the_usual_tick_nothing_is_judged_twice(clock: HandClock) -> None:
    """A reading a second past its limit hurries once, as it passes."""
    kept = _played(clock, 1.0, [0.0, 40.0, 41.0, 42.0, 43.0], 1.0)
    assert len(kept.of(Record)) == 5


def test_readings_past_a_limit_are_judged_once_a_second_at_most(
    clock: HandClock,
) -> None:
    """A part that sends ten a second does not make ten ticks."""
    kept = _played(clock, 60.0, [40.0] * 100, 0.1)
    assert 10 <= len(kept.of(Record)) <= 11


@pytest.mark.parametrize(
    ("quantity", "values", "counts"),
    [
        ("co_ppm", (300.0, 20.0), 300.0),
        ("co_ppm", (80.0, 300.0, 90.0), 300.0),
        ("o2_pct", (19.4, 20.5), 19.4),
        ("o2_pct", (23.6, 20.5), 23.6),
        ("o2_pct", (17.9, 23.6), 17.9),
        ("co_ppm", (20.0, 10.0), 10.0),
    ],
)
def test_the_worst_reading_of_a_tick_counts(
    clock: HandClock, quantity: str, values: tuple[float, ...], counts: float
) -> None:
    """The one furthest past a limit; of those past none, the last."""
    watcher, kept = _watcher(clock)
    for value in values:
        watcher.on_reading(quantity, [Sample(quantity, value)], clock.now_s)
    watcher.tick()
    assert [record.fields[quantity] for record in kept.of(Record)] == [counts]


def test_the_worst_reading_keeps_its_own_doubt(clock: HandClock) -> None:
    """A doubtful peak may raise an alarm; a good value after it takes nothing back."""
    watcher, kept = _watcher(clock)
    doubt = Sample("co_ppm", 250.0, "outside-range", "cold")
    watcher.on_reading("co_ppm", [doubt, Sample("co_ppm", 4.0)], clock.now_s)
    watcher.tick()
    assert kept.of(Record)[0].fields == {"co_ppm": 250.0, "doubtful": ["co_ppm"]}


def test_changes_are_kept_and_told(clock: HandClock) -> None:
    """An alarm's change goes to every output, and to whoever keeps the state."""
    kept_states: list[Any] = []
    watcher, kept = _watcher(clock, on_change=kept_states.append)
    watcher.on_reading("co_ppm", [Sample("co_ppm", 250.0)], clock.now_s)
    watcher.tick()
    assert {t.alarm for t in kept.of(Transition)} == {"co-level", "co-dose"}
    assert [s.pattern for s in kept.of(Sound)] == ["temporal-four"]
    assert len(kept_states) == 1
    clock.now_s += HEARD_S
    watcher.on_event(Act(ActKind.ACKNOWLEDGE, "co-level"))
    assert len(kept_states) == 2
    watcher.on_event(SourceFault("log", "not-writable", "the disk is full"))
    assert kept.of(Transition)[-1].alarm == "watch-fault/log"


def test_the_state_is_kept_now_and_then_though_nothing_changes(
    clock: HandClock,
) -> None:
    """What has been breathed grows without any alarm: a kill must not take it all."""
    kept_s: list[float] = []
    watcher, _ = _watcher(clock, on_change=lambda now: kept_s.append(now.history.now))
    for _ in range(40):
        clock.now_s += 60.0
        watcher.on_reading("co_ppm", [Sample("co_ppm", 20.0)], clock.now_s)
        watcher.tick()
    # The oxygen part's silence is an alarm at 120 s; nothing changes after it.
    assert kept_s == [120.0, 720.0, 1320.0, 1920.0]


def test_now_never_goes_back(clock: HandClock) -> None:
    """Rounding, or a clock that lies, cannot turn the core's time."""
    watcher, _ = _watcher(clock)
    clock.now_s += 5.0
    watcher.tick()
    clock.now_s -= 3.0
    watcher.tick()
    assert watcher.state.history.now == 5.0


def test_numbers_are_the_fresh_ones(clock: HandClock) -> None:
    """Those who ask are never shown a stale value."""
    watcher, _ = _watcher(clock)
    watcher.on_reading("o2_pct", [Sample("o2_pct", 20.7)], clock.now_s)
    watcher.tick()
    assert watcher.numbers() == {"o2_pct": 20.7}
    clock.now_s += 31.0
    watcher.tick()
    assert watcher.numbers() == {}


def test_an_unknown_quantity_is_not_rounded() -> None:
    """What has no decimals of its own keeps its own."""
    assert round_reading("span_mv", 11.123456) == 11.123456
