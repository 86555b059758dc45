"""The thread of an output: when it works, what a bug does to it, how it ends."""

import threading
from collections.abc import Callable
from threading import Event

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs import thread as threads
from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.outputs.thread import OutputThread
from tests.outputs.hands import Told

SOON_S = 10.0
"""For what comes at once on any machine: nothing is measured by it."""


class Worked:
    """Work that counts itself, and may be waited for."""

    def __init__(self, *waits_s: float | None) -> None:
        self._waits_s = list(waits_s)
        self.count = 0
        self._came = threading.Condition()

    def __call__(self) -> float | None:
        with self._came:
            self.count += 1
            self._came.notify_all()
        return self._waits_s.pop(0) if self._waits_s else None

    def until(self, count: int) -> None:
        with self._came:
            assert self._came.wait_for(lambda: self.count >= count, SOON_S)


def make(
    work: Callable[[], float | None], told: object = None, **others: object
) -> OutputThread:
    health = FaultLatch("slate", Told() if told is None else told)  # type: ignore[arg-type]
    sentence = "The slate stumbled ({bug})."
    return OutputThread("slate", work, health, sentence, **others)  # type: ignore[arg-type]


def running() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name == "slate"]


def test_it_is_a_named_daemon_and_starts_once() -> None:
    """One that hangs must not keep the process from ending."""
    work = Worked()
    thread = make(work)
    assert not thread.is_running
    thread.start()
    thread.start()
    assert [each.daemon for each in running()] == [True]
    assert thread.is_running
    assert thread.stop(SOON_S)
    assert running() == []


def test_it_works_at_once_when_it_is_due_and_when_it_is_woken() -> None:
    """What waits from before the start is not left lying."""
    work = Worked(0.0, 0.001, None)
    thread = make(work)
    thread.start()
    work.until(3)
    thread.wake()
    work.until(4)
    assert thread.stop(SOON_S)
    assert work.count == 4


def test_a_wake_while_it_works_is_not_lost() -> None:
    """What was put in after the work had looked is seen by the next."""
    enters, goes_on, again = Event(), Event(), Event()

    def work() -> None:
        if enters.is_set():
            again.set()
        enters.set()
        assert goes_on.wait(SOON_S)

    thread = make(work)
    thread.start()
    assert enters.wait(SOON_S)
    thread.wake()
    goes_on.set()
    assert again.wait(SOON_S)
    assert thread.stop(SOON_S)


def test_the_last_is_done_once_in_the_thread() -> None:
    names = []
    thread = make(Worked(), last=lambda: names.append(threading.current_thread().name))
    thread.start()
    assert thread.stop(SOON_S)
    assert thread.stop(SOON_S)
    assert names == ["slate"]


def test_what_was_never_started_ends_at_once() -> None:
    thread = make(Worked())
    assert thread.stop(0.0)
    assert not thread.is_running


def test_it_can_be_started_again() -> None:
    work = Worked()
    thread = make(work)
    for count in (1, 2):
        thread.start()
        work.until(count)
        assert not thread.is_ending
        assert thread.stop(SOON_S)
        assert thread.is_ending


@pytest.mark.parametrize("rests", [False, True])
def test_the_end_wakes_whatever_sleeps(rests: bool) -> None:
    """A sleep of an hour, between the work or within it."""
    began = Event()

    def work() -> float:
        began.set()
        if rests:
            thread.rest(3_600.0)
        return 3_600.0

    thread = make(work)
    thread.start()
    assert began.wait(SOON_S)
    assert thread.stop(SOON_S)


def test_a_rest_is_ended_by_the_end_alone() -> None:
    """Else a chattering alarm would wear the card."""
    began, was_ending = Event(), []

    def work() -> None:
        thread.wake()
        began.set()
        thread.rest(3_600.0)
        was_ending.append(thread.is_ending)

    thread = make(work)
    thread.start()
    assert began.wait(SOON_S)
    assert thread.stop(SOON_S)
    assert was_ending == [True]


def test_one_that_hangs_is_left_at_its_deadline() -> None:
    """And what is last is not done beside it."""
    enters, release, last = Event(), Event(), Event()

    def hangs() -> None:
        enters.set()
        release.wait(SOON_S)

    thread = make(hangs, last=last.set)
    thread.start()
    assert enters.wait(SOON_S)
    assert not thread.stop(0.0)
    assert thread.is_running
    assert not last.is_set()
    release.set()
    assert thread.join(SOON_S)
    assert last.is_set()


def test_work_may_end_its_own_thread() -> None:
    def work() -> float:
        thread.end()
        return 3_600.0

    thread = make(work)
    thread.start()
    assert thread.join(SOON_S)


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

    thread = OutputThread("slate", buggy, health, "The slate stumbled ({bug}).")
    thread.start()
    work.until(4)
    assert thread.stop(SOON_S)
    text = "The slate stumbled (ZeroDivisionError: a {bug})."
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
