"""Names what holds the event loop: `pytest --slow-callbacks tests/service`.

asyncio's own alarm, at 50 ms, but made to fail the test whose loop was held by a
callback or task of the watch.  It counts what a callback computed and how long it was
blocked; not the time that the machine or the interpreter gave to others, and not the
garbage collector's way through what the suite has loaded (`run` leaves that out too):
a busy machine accuses nobody.  A test that holds the loop on purpose has the mark
`holds_loop`.
"""

import asyncio
import functools
import gc
import inspect
import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from cabinvigil.daemon import service

OURS = str(Path(service.__file__).parents[1])
NOT_THE_WATCH = str(Path(OURS) / "rehearsal")
"""The emulated parts play the world, on the same loop."""
LIMIT_S = 0.05
ALONE = "App.run"
"""Its first step makes the outputs and its last waits for their end: no other task of
ours is on the loop then."""
WAITED = Path("/proc/thread-self/schedstat")
"""Seconds on the processor and seconds in wait of one, in ns (proc(5), from memory)."""


def _waited_s() -> float:
    """How long this thread was ready to run and did not."""
    try:
        return int(WAITED.read_text().split()[1]) / 1e9
    except (OSError, IndexError):
        return 0.0


class Spent(NamedTuple):
    """What this thread has had and lost until now."""

    waited_s: float
    waits: int
    """How often it gave up the processor by itself."""
    computed_s: float
    at_s: float

    @classmethod
    def before(cls) -> "Spent":
        """Look, the moment last: reading the rest may have to wait for others."""
        waited_s = _waited_s()
        waits = resource.getrusage(resource.RUSAGE_THREAD).ru_nvcsw
        return cls(waited_s, waits, time.thread_time(), time.perf_counter())

    @classmethod
    def after(cls) -> "Spent":
        """Look, the moment first."""
        at_s, computed_s = time.perf_counter(), time.thread_time()
        waits = resource.getrusage(resource.RUSAGE_THREAD).ru_nvcsw
        return cls(_waited_s(), waits, computed_s, at_s)

    def held_s(self, before: "Spent") -> tuple[float, float]:
        """How long the loop was held since then: by computing, and by blocking.

        Who waits for the interpreter looks again each switch interval, so each wait is
        given as much; a call that blocks is one long wait.  Without any wait, time that
        was not computed in was taken by the machine.
        """
        computed_s = self.computed_s - before.computed_s
        waits = self.waits - before.waits
        waited_s = self.waited_s - before.waited_s
        idle_s = self.at_s - before.at_s - computed_s - waited_s
        blocked_s = idle_s - waits * sys.getswitchinterval() if waits else 0.0
        return computed_s, max(0.0, blocked_s)


def _whose(handle: asyncio.Handle) -> tuple[str, str, asyncio.Task[Any] | None]:
    """Return the name and the file of what a handle calls, and its task."""
    call: Any = handle._callback  # type: ignore[attr-defined]
    while isinstance(call, functools.partial):
        call = call.func
    task = getattr(call, "__self__", None)
    if isinstance(task, asyncio.Task):
        coro: Any = task.get_coro()
        code = getattr(coro, "cr_code", None)
        name = getattr(coro, "__qualname__", repr(coro))
        return name, getattr(code, "co_filename", ""), task
    function = inspect.unwrap(getattr(call, "__func__", call))
    code = getattr(function, "__code__", None)
    return (
        getattr(function, "__qualname__", repr(call)),
        getattr(code, "co_filename", ""),
        None,
    )


class SlowCallbacks:
    """Watches every callback while it is a plugin."""

    def __init__(self) -> None:
        self.found: list[str] = []
        """What held the loop since the last test began."""
        self._stepped: set[int] = set()
        self._run = run = asyncio.Handle._run  # type: ignore[attr-defined]

        def watched(handle: asyncio.Handle) -> None:
            name, file, task = _whose(handle)
            if not file.startswith(OURS) or file.startswith(NOT_THE_WATCH):
                run(handle)
                return
            is_first = task is not None and id(task) not in self._stepped
            self._stepped.add(id(task))
            before = Spent.before()
            run(handle)
            computed_s, blocked_s = Spent.after().held_s(before)
            if computed_s + blocked_s < LIMIT_S:
                return
            if name == ALONE and (is_first or (task is not None and task.done())):
                return
            what = name if task is None else f"{name} (task {task.get_name()})"
            self.found.append(
                f"{what} held the loop: {computed_s * 1000:.0f} ms computing, "
                f"{blocked_s * 1000:.0f} ms blocked"
            )

        asyncio.Handle._run = watched  # type: ignore[attr-defined]

    def remove(self) -> None:
        """Watch no more."""
        asyncio.Handle._run = self._run  # type: ignore[attr-defined]

    @pytest.fixture(autouse=True)
    def _no_slow_callback(self, request: pytest.FixtureRequest) -> Iterator[None]:
        self.found.clear()
        self._stepped.clear()
        gc.freeze()
        yield
        gc.unfreeze()
        is_meant = request.node.get_closest_marker("holds_loop") is not None
        if self.found and not is_meant:
            pytest.fail("\n".join(dict.fromkeys(self.found)), pytrace=False)
