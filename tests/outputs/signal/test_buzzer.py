"""The buzzer: in virtual time edge by edge, and as a thread beside a busy machine."""

import statistics
import threading
import time

import pytest

from cabinvigil.daemon.core.model import Alert, Priority, Sound, SourceFault
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import LineCheck, LineError
from tests.outputs.hands import FailingLine, HandClock, SensedLine, Told
from tests.outputs.signal.sounding import pulses, run
from tests.recording_line import RecordingLine


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


def make(
    clock: HandClock, line: RecordingLine, second: RecordingLine | None = None
) -> tuple[Buzzer, Told]:
    told = Told()
    buzzer = Buzzer(
        lambda: line,
        clock,
        told,
        open_second=(lambda: second) if second else None,
        inline=True,
    )
    return buzzer, told


def test_a_high_alarm_sounds_at_once_as_temporal_four(clock: HandClock) -> None:
    """The pin follows the published pattern, from the moment of the command."""
    line = RecordingLine(clock)
    buzzer, _ = make(clock, line)
    clock.now_s = 100.0
    buzzer.handle(Sound("temporal-four", "o2-low"), clock.stamp())
    assert line.changes == [(100.0, True)]
    run(buzzer, clock, 107.0)
    assert pulses(line) == [
        (100.0, 0.1), (100.2, 0.1), (100.4, 0.1), (100.6, 0.1),
        (105.7, 0.1), (105.9, 0.1), (106.1, 0.1), (106.3, 0.1),
    ]  # fmt: skip


def test_the_same_sound_again_goes_on_without_a_break(clock: HandClock) -> None:
    """Repeating the command neither restarts nor doubles the pattern."""
    line = RecordingLine(clock)
    buzzer, _ = make(clock, line)
    for _ in range(10):
        buzzer.handle(Sound("temporal-four"), clock.stamp())
        run(buzzer, clock, clock.now_s + 0.57)
    assert len(pulses(line)) == 4


def test_quiet_silences_within_a_step(clock: HandClock) -> None:
    line = RecordingLine(clock)
    buzzer, _ = make(clock, line)
    buzzer.handle(Sound("three-pulse"), clock.stamp())
    clock.now_s = 0.05
    buzzer.handle(Sound("quiet"), clock.stamp())
    assert line.changes == [(0.0, True), (0.05, False)]


def test_only_sounds_are_taken(clock: HandClock) -> None:
    line = RecordingLine(clock)
    buzzer, _ = make(clock, line)
    buzzer.handle(Alert("o2-low", Priority.HIGH, "Oxygen low."), clock.stamp())
    assert line.changes == []


def test_the_second_sounder_plays_only_when_louder(clock: HandClock) -> None:
    """Unanswered for long, the second sounder joins in step with the first."""
    line, second = RecordingLine(clock), RecordingLine(clock)
    buzzer, _ = make(clock, line, second)
    buzzer.handle(Sound("three-pulse"), clock.stamp())
    run(buzzer, clock, 10.0)
    assert pulses(second) == []
    buzzer.handle(Sound("three-pulse", louder=True), clock.stamp())
    run(buzzer, clock, 20.0)
    assert pulses(second) == [p for p in pulses(line) if p[0] >= 10.0]
    buzzer.handle(Sound("three-pulse"), clock.stamp())
    run(buzzer, clock, 30.0)
    assert pulses(second)[-1][0] < 20.0


def test_a_danger_is_loud_from_its_first_pulse(clock: HandClock) -> None:
    """Two minutes of a gas that kills are not waited for; an answer ends both."""
    line, second = RecordingLine(clock), RecordingLine(clock)
    buzzer, _ = make(clock, line, second)
    buzzer.handle(Sound("temporal-four"), clock.stamp())
    run(buzzer, clock, 10.0)
    assert pulses(second) == pulses(line) != []
    buzzer.handle(Sound("three-pulse"), clock.stamp())
    run(buzzer, clock, 20.0)
    assert pulses(second)[-1][0] < 10.0


def test_with_one_sounder_an_unanswered_burst_comes_sooner_again(
    clock: HandClock,
) -> None:
    """Escalated, a cabin without a second line hears it too; an answer ends it."""
    line = RecordingLine(clock)
    buzzer, _ = make(clock, line)
    buzzer.handle(Sound("three-pulse"), clock.stamp())
    run(buzzer, clock, 60.0)
    usual = len(pulses(line))
    buzzer.handle(Sound("three-pulse", louder=True), clock.stamp())
    run(buzzer, clock, 120.0)
    assert len(pulses(line)) - usual >= 1.5 * usual
    assert {length for _, length in pulses(line)} == {0.2, 0.24}
    buzzer.handle(Sound("quiet"), clock.stamp())
    run(buzzer, clock, 130.0)
    assert not line.is_on


def test_a_dead_second_sounder_leaves_the_first_alone(clock: HandClock) -> None:
    line, second = RecordingLine(clock), FailingLine(clock, fails_from=0)
    buzzer, told = make(clock, line, second)
    buzzer.handle(Sound("temporal-four", louder=True), clock.stamp())
    run(buzzer, clock, 5.2)
    assert len(pulses(line)) == 4
    assert [e.source for e in told] == ["second-sounder"]


def test_the_bedtime_test_ends_by_itself(clock: HandClock) -> None:
    line = RecordingLine(clock)
    buzzer, _ = make(clock, line)
    buzzer.handle(Sound("test"), clock.stamp())
    run(buzzer, clock, 60.0)
    assert [length for _, length in pulses(line)] == [0.2] * 3 + [0.1] * 4


@pytest.mark.parametrize("standing", ["three-pulse", "temporal-four"])
def test_the_test_never_hides_a_standing_sound(clock: HandClock, standing: str) -> None:
    """Asked for under a waking sound, the test changes no edge of it."""
    plain, tested = RecordingLine(clock), RecordingLine(clock)
    for line, asks in ((plain, False), (tested, True)):
        clock.now_s = 0.0
        buzzer, _ = make(clock, line)
        buzzer.handle(Sound(standing), clock.stamp())
        run(buzzer, clock, 3.0)
        if asks:
            buzzer.test()
        run(buzzer, clock, 20.0)
    assert plain.changes == tested.changes


def test_an_alarm_during_the_test_takes_over(clock: HandClock) -> None:
    line = RecordingLine(clock)
    buzzer, _ = make(clock, line)
    buzzer.test()
    run(buzzer, clock, 0.5)
    buzzer.handle(Sound("temporal-four"), clock.stamp())
    run(buzzer, clock, 1.3)
    # At 0.5 the test's second pulse was sounding: it ends as the alarm's first.
    assert pulses(line)[1:] == [(0.4, 0.2), (0.7, 0.1), (0.9, 0.1), (1.1, 0.1)]


def test_a_pin_that_cannot_be_had_is_told_once_and_tried_again(
    clock: HandClock,
) -> None:
    """The fault names the remedy; once the pin is there the standing sound begins."""
    line = RecordingLine(clock)
    told = Told()
    ready = False

    def opener() -> RecordingLine:
        if not ready:
            raise LineError(13, "GPIO line 'GPIO17' cannot be taken; group 'gpio'")
        return line

    buzzer = Buzzer(opener, clock, told, inline=True)
    buzzer.handle(Sound("temporal-four"), clock.stamp())
    run(buzzer, clock, 30.0)
    assert told.kinds() == ["port-missing"]
    assert "group 'gpio'" in told[0].text  # type: ignore[union-attr]
    ready = True
    run(buzzer, clock, 42.0)
    assert told.kinds() == ["port-missing", "ok"]
    assert pulses(line)


def test_a_pin_lost_while_sounding_is_taken_again(clock: HandClock) -> None:
    line = FailingLine(clock, fails_from=3)
    buzzer, told = make(clock, line)
    buzzer.handle(Sound("temporal-four"), clock.stamp())
    run(buzzer, clock, 4.0)
    assert told.kinds() == ["port-missing"]
    line.fails_from = 10**9
    run(buzzer, clock, 20.0)
    assert told.kinds() == ["port-missing", "ok"]
    assert pulses(line)[-1][0] > 10.0


def test_a_sense_line_proves_the_sound(clock: HandClock) -> None:
    """Heard while it sounds: the proof and its moment stand for the bedtime check."""
    line = SensedLine(clock)
    buzzer, told = make(clock, line)
    assert buzzer.last_heard()[0] is LineCheck.CANNOT_TELL
    buzzer.test()
    run(buzzer, clock, 10.0)
    check, at_s = buzzer.last_heard()
    assert check is LineCheck.HEARD
    assert 0.0 < at_s < 10.0
    assert told == []


def test_a_buzzer_that_is_not_heard_is_a_fault_and_its_return_is_told(
    clock: HandClock,
) -> None:
    """Three pulses on end without sound on the sense line: its wire is off."""
    line = SensedLine(clock)
    buzzer, told = make(clock, line)
    line.sensed[True] = False
    buzzer.handle(Sound("temporal-four"), clock.stamp())
    run(buzzer, clock, 6.0)
    assert told.kinds() == ["not-heard"]
    line.sensed[True] = True
    run(buzzer, clock, 20.0)
    assert told.kinds() == ["not-heard", "ok"]


def test_a_sense_line_that_hears_in_silence_is_a_fault(clock: HandClock) -> None:
    """A sense line stuck at 'sounding' proves nothing, and is told."""
    line = SensedLine(clock)
    buzzer, told = make(clock, line)
    line.sensed[False] = True
    buzzer.handle(Sound("temporal-four"), clock.stamp())
    run(buzzer, clock, 30.0)
    assert told.kinds() == ["sense-stuck"]


class RealClock(HandClock):
    def monotonic(self) -> float:
        return time.perf_counter()


def test_edges_hold_while_the_machine_is_busy() -> None:
    """On a thread, beside a busy one, edges keep the pattern within half a pulse.

    By their median, since a shared test machine may take any one edge; the benchmark
    holds the milliseconds.
    """
    clock = RealClock()
    line = RecordingLine(clock)
    told = Told()
    buzzer = Buzzer(lambda: line, clock, told)
    ends = threading.Event()

    def burn() -> None:
        while not ends.is_set():
            sum(range(1000))

    burner = threading.Thread(target=burn)
    burner.start()
    buzzer.start()
    buzzer.handle(Sound("temporal-four"), clock.stamp())
    time.sleep(0.9)
    ends.set()
    buzzer.stop(2.0)
    burner.join()
    edges = line.changes[1:9]  # the first is the silence at opening
    late = [at_s - 0.1 * number for number, (at_s, _) in enumerate(edges)]
    assert len(late) == 8
    usual = statistics.median(late)
    assert statistics.median(abs(each - usual) for each in late) < 0.050
    assert line.is_closed
    assert not line.is_on
    assert told == []


def test_whatever_breaks_in_the_loop_the_sound_goes_on() -> None:
    """A bug in a line, and even a report that raises, do not end the loop."""
    clock = RealClock()

    class Buggy(RecordingLine):
        count = 0

        def set(self, *, on: bool) -> None:
            self.count += 1
            if self.count == 2:
                raise ZeroDivisionError("bug")
            super().set(on=on)

    line = Buggy(clock)

    def report(event: object) -> None:
        assert not isinstance(event, SourceFault), "the core is gone"

    buzzer = Buzzer(lambda: line, clock, report)
    buzzer.start()
    buzzer.handle(Sound("three-pulse"), clock.stamp())
    deadline = time.perf_counter() + 10.0
    while len(line.changes) < 4 and time.perf_counter() < deadline:
        time.sleep(0.02)
    alive_at_s = buzzer.alive_at_s()
    buzzer.stop(2.0)
    assert len(line.changes) >= 4
    assert clock.monotonic() - alive_at_s < 2.0


def test_a_line_that_hangs_shows_in_the_heartbeat() -> None:
    """The watchdog's value stands still while a pin hangs, and stop() returns."""
    clock = RealClock()
    release = threading.Event()

    class Hanging(RecordingLine):
        def set(self, *, on: bool) -> None:
            release.wait(10.0)

    buzzer = Buzzer(lambda: Hanging(clock), clock, Told())
    buzzer.start()
    buzzer.handle(Sound("chirp"), clock.stamp())
    time.sleep(0.2)
    first = buzzer.alive_at_s()
    time.sleep(0.7)
    assert buzzer.alive_at_s() == first
    began = time.perf_counter()
    buzzer.stop(0.1)
    assert time.perf_counter() - began < 5.0
    release.set()
