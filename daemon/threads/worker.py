"""Blocking calls off the event loop, one after the other, each with a deadline.

Daemon threads of its own, not a thread pool: a call that never returns must neither
keep the process from ending nor eat the threads of others.
"""

import asyncio
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from queue import Empty, SimpleQueue
from typing import Any, TypeVar, cast

T = TypeVar("T")

REPLACE_S = 60.0
"""A thread that hangs for so long is left behind, and another one takes its place: what
it waits for may be gone, and its device be back.  Our our choice."""
MOST_HANGING = 3
"""Threads of one name that may hang at a time, those of closed workers among them; the
unit allows 32 tasks, and a few devices at once may be in such a state (our choice)."""


class OverdueError(Exception):
    """A call took longer than its deadline, or an earlier one still has not ended."""


class NoThreadError(OverdueError):
    """The machine gives no thread to make the call in."""


Outcome = tuple[Any, BaseException | None]
"""What a call returned, and what it raised.  A value, never a raised exception: the
call may itself raise TimeoutError (errno 110 is one), which must not pass for our own
deadline."""


@dataclass(frozen=True, slots=True)
class _Job:
    """One call, and whom to tell of its outcome on the loop."""

    work: Callable[[], Any]
    loop: asyncio.AbstractEventLoop | None = None
    """None: nobody is told."""
    ended: Callable[[Outcome], None] = lambda _outcome: None

    def run(self) -> None:
        try:
            outcome: Outcome = (self.work(), None)
        except Exception as error:
            outcome = (None, error)
        if self.loop is not None:
            self.loop.call_soon_threadsafe(self.ended, outcome)


class _WorkerThread(threading.Thread):
    """Runs the jobs of its queue, in order."""

    def __init__(self, name: str, *, stays: bool) -> None:
        # A daemon: one that hangs ends with the process.
        super().__init__(name=name, daemon=True)
        self.jobs: SimpleQueue[_Job | None] = SimpleQueue()
        self.waiting = 0
        """Jobs whose outcome the loop has not got yet."""
        self.hangs_since_s: float | None = None
        """The loop's time at which a job was overdue."""
        self.is_left = False
        """Its worker has been closed, or has another thread."""
        self.is_over = False
        self._stays = stays
        self._order = threading.Lock()
        self._at_end: list[Callable[[], object]] | None = []
        """Who is told of its end; None: all have been."""

    @property
    def hangs(self) -> bool:
        """Whether it is in a call that nobody waits for any more."""
        return self.waiting > 0 and (self.is_left or self.hangs_since_s is not None)

    def enqueue(self, job: _Job) -> bool:
        """Queue a job; False where the thread has just ended."""
        with self._order:
            if self.is_over:
                return False
            self.waiting += job.loop is not None
            self.jobs.put(job)
            return True

    def leave(self) -> None:
        """Let it end once it has done what is queued, should it ever come back."""
        self.is_left = True
        self.jobs.put(None)

    @property
    def has_ended(self) -> bool:
        """Whether all that it had to do is done."""
        return self._at_end is None

    def when_over(self, call: Callable[[], object]) -> None:
        """Call once it does nothing any more, from here or from the thread."""
        with self._order:
            if self._at_end is not None:
                self._at_end.append(call)
                return
        call()

    def run(self) -> None:
        try:
            while (job := self._next()) is not None:
                job.run()
        except RuntimeError:  # the loop was closed while the call hung
            pass
        finally:
            with self._order:
                self.is_over = True
                at_end, self._at_end = self._at_end, None
            for call in at_end or ():
                with suppress(RuntimeError):
                    call()

    def _next(self) -> _Job | None:
        if self._stays:
            return self.jobs.get()
        with self._order:
            try:
                return self.jobs.get_nowait()
            except Empty:
                self.is_over = True
                return None


class Worker:
    """Runs blocking calls for one event loop, in one thread at a time."""

    def __init__(self, name: str, *, stays: bool = True) -> None:
        """Name the thread; it starts with the first call.

        Args:
            name: of the thread: what it waits for, so that threads which hang in the
                same thing are counted together, whoever left them there.
            stays: the thread waits for the next call; False where calls are rare, and
                each has a thread of its own.
        """
        self._name = name
        self._stays = stays
        self._thread: _WorkerThread | None = None
        self._closed: _WorkerThread | None = None

    @property
    def is_stuck(self) -> bool:
        """Whether a call has passed its deadline and still has not returned."""
        return self._thread is not None and self._thread.hangs_since_s is not None

    @property
    def hanging(self) -> int:
        """How many threads of this name hang, or were left behind while they did."""
        return sum(
            isinstance(one, _WorkerThread) and one.name == self._name and one.hangs
            for one in threading.enumerate()
        )

    async def call(
        self,
        work: Callable[[], T],
        deadline_s: float,
        too_late: Callable[[T], None] = lambda _value: None,
    ) -> T:
        """Run `work` on the thread and return what it returns, or raise what it raises.

        Args:
            work: the blocking call.
            deadline_s: how long to wait for it, in seconds.
            too_late: takes, on the loop, what the call returns when nobody waits for it
                any more.

        Raises:
            OverdueError: it took longer; from then on every call fails so at once,
                until the thread comes back or is replaced.
            NoThreadError: no thread could be started; the next call tries again.
        """
        loop = asyncio.get_running_loop()
        future: asyncio.Future[Outcome] = loop.create_future()
        thread = self._give(work, loop, partial(_settle, future, too_late))
        try:
            async with asyncio.timeout(deadline_s):
                value, error = await future
        except TimeoutError:
            thread.hangs_since_s = loop.time()
            raise OverdueError(f"no return within {deadline_s:g} s") from None
        if error is not None:
            raise error
        return cast(T, value)

    def post(self, work: Callable[[], object]) -> None:
        """Run `work` on the thread, after what it is at, and wait for nothing.

        Where no thread is to be had it is run here: rather late than never.
        """
        job = _Job(work)
        if self._thread is not None and self._thread.enqueue(job):
            return
        try:
            self._start(lambda _thread: job)
        except OverdueError:
            work()

    def _give(
        self,
        work: Callable[[], Any],
        loop: asyncio.AbstractEventLoop,
        ended: Callable[[Outcome], None],
    ) -> _WorkerThread:
        """Queue a job in a thread that can take it.

        Raises:
            OverdueError, NoThreadError: as `call`.
        """

        def job(thread: _WorkerThread) -> _Job:
            return _Job(work, loop, partial(self._ended, thread, ended))

        thread = self._thread
        if thread is not None and thread.hangs_since_s is not None:
            is_long = loop.time() - thread.hangs_since_s >= REPLACE_S
            if not is_long or self.hanging >= MOST_HANGING:
                raise OverdueError("an earlier call has not returned")
            thread.leave()
            thread = None
        if thread is not None and thread.enqueue(job(thread)):
            return thread
        return self._start(job)

    def _start(self, first: Callable[[_WorkerThread], _Job]) -> _WorkerThread:
        """Start a thread with its first job.

        Raises:
            OverdueError, NoThreadError: as `call`.
        """
        self._thread = None
        if self.hanging >= MOST_HANGING:
            raise OverdueError("earlier calls have not returned")
        thread = _WorkerThread(self._name, stays=self._stays)
        thread.enqueue(first(thread))
        try:
            thread.start()
        except RuntimeError as error:
            raise NoThreadError(str(error)) from None
        self._thread = thread
        return thread

    def _ended(
        self,
        thread: _WorkerThread,
        ended: Callable[[Outcome], None],
        outcome: Outcome,
    ) -> None:
        """Take a call's outcome, on the loop."""
        thread.waiting -= 1
        if not thread.waiting:
            thread.hangs_since_s = None
        ended(outcome)

    def close(self, last: Callable[[], object] | None = None) -> None:
        """Let the thread end, and do not wait; one that hangs dies with us.

        Args:
            last: run in the thread before its end, or here where there is no thread.
        """
        thread, self._thread = self._thread, None
        if thread is None:
            if last is not None:
                last()
            return
        if last is not None and not thread.enqueue(_Job(last)):
            last()
        thread.leave()
        self._closed = thread

    async def ended(self, deadline_s: float) -> bool:
        """Wait for the end that `close` asked for; return whether it came in time."""
        thread = self._closed
        if thread is None or thread.has_ended:
            return True
        loop = asyncio.get_running_loop()
        over: asyncio.Future[None] = loop.create_future()
        thread.when_over(partial(loop.call_soon_threadsafe, _be_over, over))
        try:
            async with asyncio.timeout(deadline_s):
                await over
        except TimeoutError:
            return False
        return True


def _be_over(over: asyncio.Future[None]) -> None:
    if not over.done():
        over.set_result(None)


def _settle(
    future: asyncio.Future[Outcome], too_late: Callable[[T], None], outcome: Outcome
) -> None:
    """Hand an outcome to whoever waits for it, or away where nobody does any more."""
    if not future.done():
        future.set_result(outcome)
    elif outcome[1] is None:
        too_late(outcome[0])
