"""The worker: blocking calls off the loop, deadlines, and threads that do not stay."""

import asyncio
import threading
from contextlib import suppress
from time import perf_counter

import pytest

from cabinvigil.daemon.threads.worker import (
    MOST_HANGING,
    NoThreadError,
    OverdueError,
    Worker,
)


def threads_called(name: str) -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name == name]


async def until(condition: object) -> None:
    """Let the loop turn until a condition holds, at most two seconds."""
    for _ in range(2000):
        if condition():  # type: ignore[operator]
            return
        await asyncio.sleep(0.001)
    raise AssertionError("it never came true")


async def test_a_call_returns_what_it_returns_and_raises_what_it_raises() -> None:
    """Values and errors pass through; a TimeoutError of the call's own does too."""
    worker = Worker("plain")
    assert await worker.call(lambda: 41 + 1, 1.0) == 42

    def fail() -> None:
        raise OSError(110, "Connection timed out")  # Python makes it a TimeoutError

    with pytest.raises(TimeoutError, match="Connection timed out"):
        await worker.call(fail, 1.0)
    assert not worker.is_stuck
    worker.close()
    assert await worker.ended(10.0)
    await until(lambda: not threads_called("plain"))


async def test_calls_run_in_order_on_one_thread() -> None:
    """Calls asked for together run one after the other, off the loop's thread."""
    worker = Worker("order")
    seen: list[tuple[int, int]] = []

    def work(n: int) -> None:
        seen.append((n, threading.get_ident()))

    await asyncio.gather(*(worker.call(lambda n=n: work(n), 1.0) for n in range(20)))
    assert [n for n, _ in seen] == list(range(20))
    assert len({ident for _, ident in seen}) == 1
    assert seen[0][1] != threading.get_ident()
    worker.close()


async def test_a_hung_call_fails_at_its_deadline_and_the_next_at_once() -> None:
    """After a call hangs, others fail without waiting, until the thread comes back."""
    worker, release = Worker("hung"), threading.Event()
    start = perf_counter()
    with pytest.raises(OverdueError, match=r"within 0\.05 s"):
        await worker.call(lambda: release.wait(10.0), 0.05)
    assert 0.04 < perf_counter() - start < 2.0
    assert worker.is_stuck
    start = perf_counter()
    with pytest.raises(OverdueError, match="has not returned"):
        await worker.call(lambda: None, 5.0)
    assert perf_counter() - start < 4.0
    release.set()
    await until(lambda: not worker.is_stuck)
    assert await worker.call(lambda: "again", 1.0) == "again"
    worker.close()


async def test_a_hung_thread_does_not_keep_the_process() -> None:
    """The thread is a daemon, and closing does not wait for one that hangs."""
    worker, release = Worker("left"), threading.Event()
    with pytest.raises(OverdueError):
        await worker.call(lambda: release.wait(10.0), 0.01)
    start = perf_counter()
    worker.close()
    assert perf_counter() - start < 4.0
    (thread,) = threads_called("left")
    assert thread.daemon
    release.set()
    thread.join(2.0)
    assert not thread.is_alive()


async def test_closing_waits_for_nothing_though_the_last_call_hangs() -> None:
    """On the loop; who may wait for the end awaits it, at most for so long."""
    worker, begun, release = Worker("last"), threading.Event(), threading.Event()

    def last() -> None:
        begun.set()
        release.wait(10.0)

    await worker.call(lambda: None, 5.0)
    worker.close(last)
    assert not await worker.ended(0.01)
    await until(begun.is_set)
    async with asyncio.TaskGroup() as group:
        ending = group.create_task(worker.ended(10.0))
        for _ in range(3):
            await asyncio.sleep(0.001)
        assert not ending.done()
        release.set()
    assert ending.result()
    assert await worker.ended(0.0), "and it stays so"


async def test_a_worker_without_a_thread_has_ended() -> None:
    worker = Worker("unused")
    assert await worker.ended(0.0)
    worker.close()
    assert await worker.ended(0.0)


def test_a_thread_that_outlives_its_loop_ends_quietly() -> None:
    """A call that returns after the loop was closed ends its thread, without noise."""
    worker, release = Worker("orphan"), threading.Event()

    async def hang() -> None:
        with pytest.raises(OverdueError):
            await worker.call(lambda: release.wait(10.0), 0.01)

    asyncio.run(hang())
    (thread,) = threads_called("orphan")
    release.set()
    thread.join(2.0)
    assert not thread.is_alive()


async def test_a_cancelled_call_does_not_harm_the_next() -> None:
    """Cancelling one waits for nothing; its late outcome goes to nobody."""
    worker, release = Worker("cancel"), threading.Event()
    async with asyncio.TaskGroup() as group:
        task = group.create_task(worker.call(lambda: release.wait(10.0), 5.0))
        await until(lambda: threads_called("cancel"))
        task.cancel()
    release.set()
    assert await worker.call(lambda: "next", 2.0) == "next"
    worker.close()


def test_an_unused_worker_has_no_thread() -> None:
    """The thread starts with the first call, so closing an unused one is free."""
    worker = Worker("unused")
    assert threads_called("unused") == []
    worker.close()


async def test_a_thread_that_could_not_be_started_once_is_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The machine is out of threads for a while: named, and over with the next call."""
    worker, start = Worker("scarce"), threading.Thread.start

    def scarce(_self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")  # as Python says it

    monkeypatch.setattr(threading.Thread, "start", scarce)
    for _ in range(3):
        with pytest.raises(NoThreadError, match="start new thread"):
            await worker.call(lambda: 1, 1.0)
    assert not worker.is_stuck
    monkeypatch.setattr(threading.Thread, "start", start)
    assert await worker.call(lambda: 1, 1.0) == 1
    worker.close()


async def test_a_worker_for_rare_calls_keeps_no_thread() -> None:
    """Each call has its thread, which ends with it; what is posted is done too."""
    worker, done = Worker("rare", stays=False), threading.Event()
    for n in range(20):
        assert await worker.call(lambda n=n: n, 1.0) == n  # type: ignore[misc]
    await until(lambda: not threads_called("rare"))
    worker.post(done.set)
    assert done.wait(2.0)
    await until(lambda: not threads_called("rare"))


async def test_workers_made_and_closed_at_work_leave_no_more_than_so_many() -> None:
    """Closed before the deadline of what hangs: their threads are counted too."""
    release = threading.Event()
    for _ in range(20):
        worker = Worker("again")
        with suppress(OverdueError, TimeoutError):
            async with asyncio.timeout(0.01):
                await worker.call(lambda: release.wait(10.0), 5.0)
        worker.close()
    assert len(threads_called("again")) == MOST_HANGING
    release.set()
    await until(lambda: not threads_called("again"))
    worker = Worker("again")
    assert await worker.call(lambda: "well", 1.0) == "well"
    worker.close()
