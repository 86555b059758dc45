"""The shell's middle: what it rounds, when it hurries, and whom it tells."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import pytest

from cabinvigil.daemon.compose.compose import CoreBuild, compose_columns
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
    ("part", "quantity", "values", "hurries"),
    [
        ("co_ppm", "co_ppm", (10.0, 29.0), []),
        ("co_ppm", "co_ppm", (10.0, 30.0, 31.0), [1]),
        ("o2_pct", "o2_pct", (20.0, 19.5, 19.4), [1]),
        ("o2_pct", "o2_pct", (20.0, 23.5), [1]),
    ],
)
def test_a_crossed_limit_does_not_wait_for_the_tick(
    clock: HandClock,
    part: str,
    quantity: str,
    values: tuple[float, ...],
    hurries: list[int],
) -> None:
    """The crossing itself hurries, once; what stays beyond waits for its tick."""
    hurried: list[int] = []
    at = [0]
    watcher, _ = _watcher(clock, on_urgent=lambda: hurried.append(at[0]))
    for index, value in enumerate(values):
        at[0] = index
        watcher.on_reading(part, [Sample(quantity, value)], clock.now_s)
        watcher.tick()
        clock.now_s += 1.0
    assert hurried == hurries


def test_changes_are_kept_and_told(clock: HandClock) -> None:
    """An alarm's change goes to every output, and to whoever keeps the state."""
    kept_states: list[Any] = []
    watcher, kept = _watcher(clock, on_change=kept_states.append)
    watcher.on_reading("co_ppm", [Sample("co_ppm", 250.0)], clock.now_s)
    watcher.tick()
    assert {t.alarm for t in kept.of(Transition)} == {"co-level", "co-dose"}
    assert [s.pattern for s in kept.of(Sound)] == ["temporal-four"]
    assert len(kept_states) == 1
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
