"""The loop in virtual time: jumps, order, real descriptors, and its own ends."""

import asyncio
import os
import threading
from time import perf_counter

import pytest

from cabinvigil.daemon.rehearsal.virtual import StalledError, run_virtual


async def _ticks(name: str, every_s: float, until_s: float, seen: list[str]) -> int:
    loop = asyncio.get_running_loop()
    count = 0
    while loop.time() < until_s:
        seen.append(f"{loop.time():g} {name}")
        count += 1
        await asyncio.sleep(every_s)
    return count


def test_a_night_of_five_tasks_passes_in_seconds() -> None:
    """Nine hours at one tick a second with five tasks take a few real seconds."""

    async def night() -> list[int]:
        seen: list[str] = []
        async with asyncio.TaskGroup() as group:
            tasks = [
                group.create_task(_ticks(str(n), 1.0, 32_400.0, seen)) for n in range(5)
            ]
        assert len(seen) == 5 * 32_400
        return [task.result() for task in tasks]

    start = perf_counter()
    assert run_virtual(night()) == [32_400] * 5
    # 1.3 s when written, on a busy machine with two cores; room for slower ones.
    assert perf_counter() - start < 15.0


def test_two_runs_go_alike() -> None:
    """The order of events is the same each time, ties included."""

    async def night() -> list[str]:
        seen: list[str] = []
        async with asyncio.TaskGroup() as group:
            for name, every_s in (("a", 1.0), ("b", 0.5), ("c", 0.7), ("d", 1.0)):
                group.create_task(_ticks(name, every_s, 50.0, seen))
        return seen

    first = run_virtual(night())
    assert first == run_virtual(night())
    assert first[:4] == ["0 a", "0 b", "0 c", "0 d"]


def test_time_does_not_creep() -> None:
    """Thirty thousand sleeps of 0.1 s end at 3 000 s, to the nanosecond."""

    async def sleep() -> float:
        for _ in range(30_000):
            await asyncio.sleep(0.1)
        return asyncio.get_running_loop().time()

    assert run_virtual(sleep()) == pytest.approx(3_000.0, abs=1e-9)


def test_deadlines_are_virtual_too() -> None:
    """A ten-minute deadline passes at once in real time, at 600 s in virtual."""

    async def wait() -> float:
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(600.0):
                await asyncio.Event().wait()
        return asyncio.get_running_loop().time()

    start = perf_counter()
    assert run_virtual(wait()) == 600.0
    assert perf_counter() - start < 5.0


def test_bytes_that_are_there_come_before_the_next_timer() -> None:
    """A descriptor that is ready is served before time moves."""

    async def read() -> tuple[bytes, float]:
        loop = asyncio.get_running_loop()
        reader, writer = os.pipe()
        got: asyncio.Future[tuple[bytes, float]] = loop.create_future()
        loop.add_reader(
            reader, lambda: got.set_result((os.read(reader, 9), loop.time()))
        )
        loop.call_later(5.0, os.write, writer, b"air")
        loop.call_later(6.0, got.cancel)
        try:
            return await got
        finally:
            loop.remove_reader(reader)
            os.close(reader)
            os.close(writer)

    assert run_virtual(read()) == (b"air", 5.0)


def test_a_thread_can_still_wake_the_loop() -> None:
    """With no timer set, a call from another thread is waited for."""

    async def wait() -> str:
        loop = asyncio.get_running_loop()
        got: asyncio.Future[str] = loop.create_future()
        thread = threading.Thread(
            target=lambda: loop.call_soon_threadsafe(got.set_result, "woken")
        )
        thread.start()
        result = await got
        thread.join()
        return result

    assert run_virtual(wait()) == "woken"


def test_waiting_for_nothing_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """A run in which nothing can happen any more says so instead of hanging."""
    monkeypatch.setattr("cabinvigil.daemon.rehearsal.virtual._NOTHING_LEFT_S", 0.05)

    async def wait() -> None:
        await asyncio.sleep(3.0)
        await asyncio.Event().wait()

    with pytest.raises(StalledError, match="has stopped at 3 s"):
        run_virtual(wait())


def test_leftover_tasks_are_ended() -> None:
    """A task left behind is cancelled, not leaked."""
    ended: list[str] = []

    async def left_behind() -> None:
        try:
            await asyncio.sleep(1e6)
        finally:
            ended.append("cancelled")

    keep: list[asyncio.Task[None]] = []

    async def main() -> None:
        loop = asyncio.get_running_loop()
        keep.append(loop.create_task(left_behind()))
        await asyncio.sleep(1.0)

    run_virtual(main())
    assert ended == ["cancelled"]
