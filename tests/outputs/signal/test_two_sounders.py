"""Two sounders are two: whatever becomes of one, the other sounds."""

import threading
import time
from collections.abc import Iterator

import pytest

from cabinvigil.daemon.core.model import Record, Sound
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import LineError
from tests.outputs.hands import HandClock, SensedLine, Told
from tests.outputs.signal.sounding import pulses, run
from tests.recording_line import RecordingLine

DANGER = Sound("temporal-four", "o2-low", louder=True)
AIR = Record("air", {"o2_pct": 20.5})


class Buggy(RecordingLine):
    """Raises what nobody expects, where it is told to."""

    where = ""

    def _may(self, where: str) -> None:
        if where == self.where:
            raise ZeroDivisionError("bug")

    def set(self, *, on: bool) -> None:
        self._may("set")
        super().set(on=on)

    def close(self) -> None:
        self._may("close")
        super().close()

    def self_test(self):  # type: ignore[no-untyped-def]  # as its base
        self._may("self_test")
        return super().self_test()


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.mark.parametrize("bad", ["buzzer", "second-sounder"])
@pytest.mark.parametrize("where", ["open", "set", "self_test", "close"])
def test_an_unexpected_error_of_one_keeps_the_other_from_nothing(
    clock: HandClock, bad: str, where: str
) -> None:
    """Each pulse of the other is there; the fault names the one that has it."""
    lines = {name: Buggy(clock) for name in ("buzzer", "second-sounder")}
    told = Told()

    def opener(name: str) -> Buggy:
        if name == bad and where == "open":
            raise ZeroDivisionError("bug")
        return lines[name]

    buzzer = Buzzer(
        lambda: opener("buzzer"),
        clock,
        told,
        open_second=lambda: opener("second-sounder"),
        inline=True,
    )
    lines[bad].where = where
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, 20.0)
    buzzer.stop(1.0)
    other = next(line for name, line in lines.items() if name != bad)
    assert len(pulses(other)) == 16
    assert not other.is_on
    assert {e.source for e in told} <= {bad}
    if where != "close":
        assert told
    if where == "self_test":
        assert len(pulses(lines[bad])) == 16


def test_one_whose_proof_fails_takes_no_proof_from_the_other(clock: HandClock) -> None:
    line, second = SensedLine(clock), SensedLine(clock)
    second.sensed[True] = False
    told = Told()
    buzzer = Buzzer(lambda: line, clock, told, open_second=lambda: second, inline=True)
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, 20.0)
    assert len(pulses(line)) == len(pulses(second)) == 16
    assert [(e.source, getattr(e, "kind", "ok")) for e in told] == [
        ("second-sounder", "not-heard")
    ]


class RealClock(HandClock):
    def monotonic(self) -> float:
        return time.perf_counter()


@pytest.fixture
def release() -> Iterator[threading.Event]:
    event = threading.Event()
    yield event
    event.set()


@pytest.mark.parametrize("bad", [0, 1])
def test_one_that_hangs_in_the_kernel_leaves_the_other_sounding(
    release: threading.Event, bad: int
) -> None:
    """And its own end within the deadline that both have."""
    clock, told = RealClock(), Told()

    class Hanging(RecordingLine):
        def set(self, *, on: bool) -> None:
            if on:
                release.wait(20.0)
            super().set(on=on)

    lines = [RecordingLine(clock), RecordingLine(clock)]
    lines[bad] = Hanging(clock)
    buzzer = Buzzer(lambda: lines[0], clock, told, open_second=lambda: lines[1])
    buzzer.start()
    buzzer.handle(DANGER, clock.stamp())
    until = time.perf_counter() + 15.0
    while len(pulses(lines[1 - bad])) < 5 and time.perf_counter() < until:
        time.sleep(0.01)
    assert len(pulses(lines[1 - bad])) >= 5
    began = time.perf_counter()
    buzzer.stop(0.2)
    assert time.perf_counter() - began < 5.0
    assert lines[1 - bad].is_closed


def test_a_second_that_hangs_is_told_and_its_return_too(
    release: threading.Event, clock: HandClock
) -> None:
    """The watchdog looks at the first: of the second nothing else would tell."""
    told, hangs = Told(), threading.Event()

    class Hanging(RecordingLine):
        def set(self, *, on: bool) -> None:
            if on:
                hangs.set()
                release.wait(20.0)
            super().set(on=on)

    second = Hanging(clock)
    buzzer = Buzzer(
        lambda: RecordingLine(clock), clock, told, open_second=lambda: second
    )
    buzzer.start()
    buzzer.handle(DANGER, clock.stamp())
    assert hangs.wait(10.0)
    for _ in range(30):
        buzzer.handle(AIR, clock.stamp())
        clock.now_s += 1.0
    assert [(e.source, getattr(e, "kind", "ok")) for e in told] == [
        ("second-sounder", "blocked")
    ]
    release.set()
    until = time.perf_counter() + 10.0
    while told.kinds() != ["blocked", "ok"] and time.perf_counter() < until:
        time.sleep(0.01)
    buzzer.stop(5.0)
    assert told.kinds() == ["blocked", "ok"]


def test_a_machine_that_slept_is_no_second_that_hangs(clock: HandClock) -> None:
    """The clock counts on while all threads stand: one look is no proof."""
    told = Told()

    def line() -> RecordingLine:
        return RecordingLine(clock)

    buzzer = Buzzer(line, clock, told, open_second=line, inline=True)
    for _ in range(3):
        buzzer.step(clock.now_s)
        clock.now_s += 3_600.0
        buzzer.handle(AIR, clock.stamp())
    assert told == []


def test_a_pin_that_is_refused_takes_nothing_from_the_other(clock: HandClock) -> None:
    told, line = Told(), RecordingLine(clock)

    def refuse() -> RecordingLine:
        raise LineError(16, "GPIO line 'GPIO17' is in use")

    buzzer = Buzzer(refuse, clock, told, open_second=lambda: line, inline=True)
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, 20.0)
    assert len(pulses(line)) == 16
    assert [e.source for e in told] == ["buzzer"]
