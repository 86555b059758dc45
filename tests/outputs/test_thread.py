"""The thread of an output: when it works, and how it ends."""

import threading
from threading import Event

import pytest

from tests.outputs.working import SOON_S, Worked, make, running


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
