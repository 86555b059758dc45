"""The thread of an output: what a bug does to it, and a machine without threads."""

import threading
from threading import Event

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs import thread as threads
from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.outputs.thread import OutputThread
from tests.outputs.hands import Told
from tests.outputs.working import SOON_S, Worked, make, running


def test_a_bug_is_a_fault_and_no_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Told once while it is the same; the work is called again after a while."""
    monkeypatch.setattr(threads, "AGAIN_S", 0.0)
    told, work = Told(), Worked()
    health = FaultLatch("slate", told)

    def buggy() -> float | None:
        work()
        if work.count < 4:
            raise ZeroDivisionError("a {bug}")
        health.ok()
        return None

    thread = OutputThread(
        "slate", buggy, health, ("The slate had an internal error ({bug}).")
    )
    thread.start()
    work.until(4)
    assert thread.stop(SOON_S)
    text = "The slate had an internal error (ZeroDivisionError: a {bug})."
    assert told == [SourceFault("slate", "late", text), SourceOk("slate")]


def test_a_bug_is_waited_after_and_a_wake_ends_that(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A new alarm does not wait for the bug of the last."""
    monkeypatch.setattr(threads, "AGAIN_S", 3_600.0)
    work = Worked()

    def buggy() -> None:
        work()
        raise ZeroDivisionError("a bug")

    thread = make(buggy)
    thread.start()
    work.until(1)
    thread.wake()
    work.until(2)
    assert thread.stop(SOON_S)


def test_a_core_that_is_gone_does_not_end_it() -> None:
    """Whoever is told of the bug may raise too."""
    work = Worked()

    def buggy() -> None:
        work()
        raise ZeroDivisionError("a bug")

    def gone(_event: object) -> None:
        raise RuntimeError("the loop is closed")

    thread = make(buggy, gone)
    thread.start()
    work.until(1)
    thread.wake()
    work.until(2)
    assert thread.stop(SOON_S)


def test_a_bug_in_the_last_is_told_too() -> None:
    told = Told()

    def last() -> None:
        raise OSError(28, "No space left on device")

    thread = make(Worked(), told, last=last)
    thread.start()
    assert thread.stop(SOON_S)
    assert told.kinds() == ["late"]


class Waits(Event):
    """Notes how long it would have slept, and sleeps not at all."""

    def __init__(self) -> None:
        super().__init__()
        self.all_s: list[float | None] = []

    def wait(self, timeout: float | None = None) -> bool:
        self.all_s.append(timeout)
        return True


def test_a_bug_that_stays_is_tried_ever_more_seldom_and_anew_once_it_went() -> None:
    """Twice a second for a night would be sixty thousand tries, and as many lines."""
    bugs = iter([True] * 6 + [False, True, True])

    def buggy() -> float:
        if (is_bug := next(bugs, None)) is None:
            thread.end()
        if is_bug:
            raise ZeroDivisionError("a bug")
        return 77.0

    thread = make(buggy)
    waits = thread._wake = Waits()
    thread.start()
    assert thread.join(SOON_S)
    assert waits.all_s == [0.5, 1.0, 2.0, 4.0, 4.0, 4.0, 77.0, 0.5, 1.0, 77.0]


def test_work_that_is_well_again_is_told_though_it_says_nothing_itself() -> None:
    told, bugs = Told(), iter([True, True, False])

    def buggy() -> float | None:
        if next(bugs, False):
            raise ZeroDivisionError("a bug")
        came.set()
        return None

    came = Event()
    thread = make(buggy, told)
    thread._wake = Waits()
    thread.start()
    assert came.wait(SOON_S)
    assert thread.stop(SOON_S)
    assert told.kinds() == ["late", "ok"]


def test_a_bug_that_work_reports_itself_is_not_over_with_that_round() -> None:
    """It has a back-off of its own, and returns as if all were well."""
    told = Told()
    rounds = iter([True, True, False])

    def reports() -> None:
        is_bug = next(rounds, None)
        if is_bug:
            thread.report(ZeroDivisionError("a bug"))
            assert told.kinds() == ["late"]
        elif is_bug is None:
            thread.end()

    thread = make(reports, told)
    thread._wake = Waits()
    thread.start()
    assert thread.join(SOON_S)
    assert told.kinds() == ["late", "ok"]


@pytest.mark.parametrize("ends", [SystemExit, GeneratorExit, KeyboardInterrupt])
def test_nothing_at_all_that_is_raised_ends_it(ends: type[BaseException]) -> None:
    """A library that calls sys.exit would else end the sounder without a word."""
    told, work = Told(), Worked()

    def exits() -> None:
        work()
        if work.count == 1:
            raise ends("enough")

    thread = make(exits, told)
    thread.start()
    work.until(1)
    thread.wake()
    work.until(2)
    assert thread.stop(SOON_S)
    assert told.kinds() == ["late", "ok"]


def test_a_bug_whose_words_change_each_time_is_told_once() -> None:
    """And one that has no words at all does not end the thread."""
    told, work = Told(), Worked()

    class MuteError(Exception):
        def __str__(self) -> str:
            if work.count % 2:
                raise RuntimeError("no words")
            return f"number {work.count}"

    def buggy() -> None:
        work()
        if work.count > 8:
            thread.end()
        raise MuteError

    thread = make(buggy, told)
    thread._wake = Waits()
    thread.start()
    assert thread.join(SOON_S)
    assert told.kinds() == ["late"]


def test_a_time_that_no_clock_can_sleep_does_not_end_it() -> None:
    told, work = Told(), Worked(float("inf"), float("nan"), None)
    thread = make(work, told)
    thread.start()
    work.until(3)
    assert thread.stop(SOON_S)
    assert told.kinds() == ["late", "ok"]


class NoThreads:
    """The machine gives no thread, as at its limit of tasks, until it does."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, refusals: int) -> None:
        self.refusals = refusals
        real = threading.Thread.start

        def start(thread: threading.Thread) -> None:
            if thread.name == "slate" and self.refusals:
                self.refusals -= 1
                raise RuntimeError("can't start new thread")
            real(thread)

        monkeypatch.setattr(threading.Thread, "start", start)


def test_one_that_cannot_be_started_is_told_and_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The start of the watch goes on without it; each command is an occasion."""
    machine, told, work = NoThreads(monkeypatch, 3), Told(), Worked()
    thread = make(work, told)
    thread.start()
    assert not thread.is_running
    assert told.kinds() == ["failed"]
    assert "can't start new thread" in told[0].text  # type: ignore[union-attr]
    thread.keep()
    thread.keep()
    assert machine.refusals == 0
    thread.keep()
    work.until(1)
    thread.keep()
    assert len(running()) == 1
    assert thread.stop(SOON_S)
    assert told.kinds() == ["failed", "ok"]


def test_what_was_ended_or_never_asked_for_is_not_started_again() -> None:
    thread = make(Worked())
    thread.keep()
    assert not thread.is_running
    thread.start()
    assert thread.stop(SOON_S)
    thread.keep()
    assert not thread.is_running


def test_work_that_comes_by_itself_starts_no_second_thread() -> None:
    """The core's shell may hand a command on from the output's own thread."""
    counts: list[int] = []

    def work() -> None:
        thread.keep()
        counts.append(len(running()))
        thread.end()

    thread = make(work)
    thread.start()
    assert thread.join(SOON_S)
    assert counts == [1]
