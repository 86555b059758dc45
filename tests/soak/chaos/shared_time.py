"""One virtual time for the event loop and all threads of the watch.

`rehearsal/virtual.py` jumps the time of a loop that has no threads beside it.  Here the
watch has all its threads, and each of their waits goes through this file: one thread
runs at a time, and when all of them wait the time jumps to the first that is due.  So
two hours pass in seconds, in the same order at each run, and a busy machine makes no
tick late.  What a thread really does (a file, a socket of this machine) takes no time.
"""

import faulthandler
import heapq
import os
import sys
import threading
import traceback
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from math import inf
from queue import Empty
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

from cabinvigil.daemon.outputs import thread as output_thread
from cabinvigil.daemon.service import app, pins, stopping
from cabinvigil.daemon.threads import worker

START = datetime(2026, 1, 14, 21, 0, tzinfo=UTC)
ROUND_S = 1e-6
"""Of one round of the loop, or of a thread's: where none took any time, a wait that is
over by a rounding error would be waited for for ever."""
STUCK_S = 60.0
"""Of real time without a switch: a thread waits for what nobody here will give."""


class OverError(BaseException):
    """The scenario is over: whoever still waits ends."""


class Seat:
    """One thread, or the loop, as the common time sees it."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.turn = threading.Semaphore(0)
        self.number = 0
        """Of its last wait: an older due time of it counts not."""
        self.waits = False
        self.is_rung = False
        """Somebody woke it while it did not wait."""
        self.is_killed = False
        """Its process is over: it ends with its next breath."""


class SharedTime:
    """Says who runs, and what time it is."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.died: list[str] = []
        """Threads that ended by an exception."""
        self._lock = threading.Lock()
        self._ready: deque[Seat] = deque()
        self._due: list[tuple[float, int, Seat]] = []
        self._count = 0
        self._last = (0, 0.0)
        self._here = threading.local()
        self.living: set[Seat] = set()

    # --- the clock that the watch is given -------------------------------------------

    def monotonic(self) -> float:
        return self.now_s

    def wall(self) -> datetime:
        return START + timedelta(seconds=self.now_s)

    # --- whose turn it is ------------------------------------------------------------

    @property
    def seat(self) -> Seat | None:
        """The calling thread's, where it is one of the watch's."""
        return getattr(self._here, "seat", None)

    def enter(self, name: str) -> Seat:
        """Make the calling thread the first that runs."""
        self._here.seat = seat = Seat(name)
        self.living.add(seat)
        return seat

    def wait(self, until_s: float, seat: Seat | None = None) -> bool:
        """Give the turn away until woken, or until a moment; return whether woken."""
        seat = seat or self.seat
        assert seat is not None, threading.current_thread().name
        if seat.is_killed:
            raise OverError
        with self._lock:
            self._count += 1
            seat.number = self._count
            seat.waits = True
            if seat.is_rung or until_s <= self.now_s:
                self._ready.append(seat)
                seat.waits = False
            elif until_s < inf:
                heapq.heappush(self._due, (until_s, seat.number, seat))
            self._next()
        while not seat.turn.acquire(timeout=STUCK_S):
            if self._last == (self._count, self.now_s):
                self._tell_stalled()
            self._last = (self._count, self.now_s)
        if seat.is_killed:
            raise OverError
        was_rung, seat.is_rung = seat.is_rung, False
        return was_rung

    def ring(self, seat: Seat) -> None:
        """Wake a seat, or its next wait."""
        with self._lock:
            seat.is_rung = True
            if seat.waits:
                seat.waits = False
                self._ready.append(seat)

    def sleep(self, until_s: float) -> None:
        """Stay away until a moment, whoever rings: a call that does not come back."""
        own = self.seat
        if own is None:
            return
        if own.is_killed:
            raise OverError
        seat = Seat(f"{own.name}, which hangs")
        self.living.add(seat)
        try:
            self.wait(until_s, seat)
        finally:
            self.living.discard(seat)

    def _next(self) -> None:
        """Give the turn to whoever is next; called with the lock."""
        while not self._ready:
            if not self._due:
                return  # all wait for nothing: said by whoever waits for the turn
            due_s, number, seat = heapq.heappop(self._due)
            if seat.waits and seat.number == number:
                self.now_s = max(self.now_s, due_s)
                seat.waits = False
                self._ready.append(seat)
        self._ready.popleft().turn.release()

    def _tell_stalled(self) -> None:
        """End it all: somebody spins, or waits for what nobody here will give."""
        text = f"the common time stands still at {self.now_s:g} s"
        print(text, file=sys.__stderr__, flush=True)
        faulthandler.dump_traceback(sys.__stderr__)
        os._exit(3)

    # --- threads ---------------------------------------------------------------------

    def begin(self, thread: threading.Thread) -> None:
        """Have a thread run by turns, from its start on."""
        seat, run = Seat(thread.name), thread.run
        thread.seat = seat  # type: ignore[attr-defined]
        thread.ended = TurnEvent(self)  # type: ignore[attr-defined]

        def by_turns() -> None:
            self._here.seat = seat
            seat.turn.acquire()
            try:
                if not seat.is_killed:
                    run()
            except OverError:
                pass
            except BaseException:
                self.died.append(f"{seat.name}: {traceback.format_exc()}")
            self.living.discard(seat)
            thread.ended.set()  # type: ignore[attr-defined]
            if not seat.is_killed:
                with self._lock:
                    self._next()

        thread.run = by_turns  # type: ignore[method-assign]
        self.living.add(seat)
        with self._lock:
            self._ready.append(seat)

    def kill(self) -> None:
        """End all threads but the calling one, as the end of a process does."""
        with self._lock:
            killed = [seat for seat in self.living if seat is not self.seat]
            for seat in killed:
                seat.is_killed = True
                seat.waits = False
                self.living.discard(seat)
            self._ready = deque(seat for seat in self._ready if not seat.is_killed)
        for seat in killed:
            seat.turn.release()
        for thread in threading.enumerate():
            seat = getattr(thread, "seat", None)
            if seat is not None and seat is not self.seat:
                seat.is_killed = True
                REAL_JOIN(thread, 10.0)
                assert not thread.is_alive(), f"{thread.name} does not end"


class TurnEvent:
    """As `threading.Event`."""

    def __init__(self, time: SharedTime) -> None:
        self._time = time
        self._is_set = False
        self._seats: list[Seat] = []

    def is_set(self) -> bool:
        return self._is_set

    def set(self) -> None:
        self._is_set = True
        for seat in list(self._seats):
            self._time.ring(seat)

    def clear(self) -> None:
        self._is_set = False

    def wait(self, timeout: float | None = None) -> bool:
        seat = self._time.seat
        if seat is None:
            return self._is_set
        if seat.is_killed:
            raise OverError
        until_s = inf
        if timeout is not None:
            until_s = self._time.now_s + max(timeout, ROUND_S)
        self._seats.append(seat)
        try:
            while not self._is_set and self._time.now_s < until_s:
                self._time.wait(until_s)
        finally:
            self._seats.remove(seat)
        return self._is_set


class TurnLock:
    """As `threading.Lock`, for one that is held by who hangs."""

    def __init__(self, time: SharedTime) -> None:
        self._time = time
        self._free = TurnEvent(time)
        self._free.set()

    def acquire(self, timeout: float = inf) -> bool:
        if not self._free.is_set() and not self._free.wait(timeout):
            return False
        self._free.clear()
        return True

    def release(self) -> None:
        self._free.set()

    def __enter__(self) -> None:
        self.acquire()

    def __exit__(self, *_: object) -> None:
        self.release()


class TurnQueue:
    """As `queue.SimpleQueue`."""

    def __init__(self, time: SharedTime) -> None:
        self._some = TurnEvent(time)
        self._items: deque[Any] = deque()

    def put(self, item: Any) -> None:
        self._items.append(item)
        self._some.set()

    def get_nowait(self) -> Any:
        if not self._items:
            raise Empty
        return self._items.popleft()

    def get(self) -> Any:
        while not self._items:
            self._some.clear()
            self._some.wait()
        return self._items.popleft()


REAL_START, REAL_JOIN = threading.Thread.start, threading.Thread.join


def _start(time: SharedTime) -> Callable[[threading.Thread], None]:
    def start(thread: threading.Thread) -> None:
        if time.seat is not None:
            time.begin(thread)
        REAL_START(thread)

    return start


def _join(thread: threading.Thread, timeout: float | None = None) -> None:
    ended = getattr(thread, "ended", None)
    if ended is None:
        REAL_JOIN(thread, timeout)
    elif ended.wait(timeout):
        REAL_JOIN(thread)


class _NoSignals:
    """A scenario is stopped by a call: the process's signals are not its own."""

    def __init__(self, _acts: object) -> None: ...

    def __enter__(self) -> None: ...

    def __exit__(self, *_: object) -> None: ...


@contextmanager
def shared() -> Iterator[SharedTime]:
    """Have all threads that the watch starts run by turns, in one virtual time."""
    time = SharedTime()

    def event() -> TurnEvent:
        return TurnEvent(time)

    def lock() -> TurnLock:
        return TurnLock(time)

    with (
        patch.object(threading.Thread, "start", _start(time)),
        patch.object(threading.Thread, "join", _join),
        patch.object(output_thread, "Event", event),
        patch.object(stopping, "Event", event),
        patch.object(pins, "Lock", lock),
        patch.object(app, "threading", SimpleNamespace(Event=event)),
        patch.object(app, "Signals", _NoSignals),
        patch.object(worker, "SimpleQueue", lambda: TurnQueue(time)),
    ):
        time.enter("loop")
        try:
            yield time
        finally:
            time.kill()
            del time._here.seat
