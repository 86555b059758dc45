"""Blocking calls off the event loop, one after the other, each with a deadline.

One daemon thread a worker, not a thread pool: a call that never returns must neither
keep the process from ending nor eat the threads of others.
"""

import asyncio
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from queue import SimpleQueue
from typing import Any, TypeVar, cast

T = TypeVar("T")

_JOIN_S = 1.0
"""An idle thread ends within microseconds of being told; this only bounds a wait."""


class OverdueError(Exception):
    """A call took longer than its deadline, or an earlier one still has not ended."""


Outcome = tuple[Any, BaseException | None]
"""What a call returned, and what it raised.  A value, never a raised exception: the
call may itself raise TimeoutError (errno 110 is one), which must not pass for our own
deadline."""


@dataclass(frozen=True, slots=True)
class _Job:
    """One call, and whom to tell of its outcome on the loop."""

    work: Callable[[], Any]
    loop: asyncio.AbstractEventLoop
    ended: Callable[[Outcome], None]

    def run(self) -> None:
        try:
            outcome: Outcome = (self.work(), None)
        except Exception as error:
            outcome = (None, error)
        self.loop.call_soon_threadsafe(self.ended, outcome)


def _serve(jobs: SimpleQueue[_Job | None]) -> None:
    while (job := jobs.get()) is not None:
        try:
            job.run()
        except RuntimeError:  # the loop was closed while the call hung
            return


class Worker:
    """One daemon thread that runs blocking calls for one event loop."""

    def __init__(self, name: str) -> None:
        """Name the thread; it starts with the first call."""
        self._name = name
        self._jobs: SimpleQueue[_Job | None] = SimpleQueue()
        self._thread: threading.Thread | None = None
        self._waiting = 0
        self._overdue = False

    @property
    def is_stuck(self) -> bool:
        """Whether a call has passed its deadline and still has not returned."""
        return self._overdue

    async def call(self, work: Callable[[], T], deadline_s: float) -> T:
        """Run `work` on the thread and return what it returns, or raise what it raises.

        Args:
            work: the blocking call.
            deadline_s: how long to wait for it, in seconds.

        Raises:
            OverdueError: it took longer; from then on every call fails so at once,
                until the thread comes back.
        """
        if self._overdue:
            raise OverdueError("an earlier call has not returned")
        if self._thread is None:
            self._thread = threading.Thread(
                target=_serve, args=(self._jobs,), name=self._name, daemon=True
            )
            self._thread.start()
        loop = asyncio.get_running_loop()
        future: asyncio.Future[Outcome] = loop.create_future()
        self._waiting += 1
        self._jobs.put(_Job(work, loop, partial(self._ended, future)))
        try:
            async with asyncio.timeout(deadline_s):
                value, error = await future
        except TimeoutError:
            self._overdue = True
            raise OverdueError(f"no return within {deadline_s:g} s") from None
        if error is not None:
            raise error
        return cast(T, value)

    def _ended(self, future: asyncio.Future[Outcome], outcome: Outcome) -> None:
        """Take a call's outcome, on the loop; one that comes too late is dropped."""
        self._waiting -= 1
        if not self._waiting:
            self._overdue = False
        if not future.done():
            future.set_result(outcome)

    def close(self) -> None:
        """Let the thread end; one that hangs is left behind, and dies with us."""
        self._jobs.put(None)
        if self._thread is not None and not self._overdue:
            self._thread.join(_JOIN_S)
        self._thread = None
