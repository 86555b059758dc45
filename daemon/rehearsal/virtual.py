"""An event loop whose time is virtual: a nine-hour night passes in seconds.

Whenever nothing is ready, the loop jumps to its next timer instead of waiting for it.
Real file descriptors (the ptys of emulated serial parts) are still served: they are
looked at before each jump.  Whoever writes to such a descriptor must wait until the
bytes are there for the reader (see `wires.EmulatedSerial`), or the jump may come
first and the run would not repeat itself.
"""

import asyncio
import selectors
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")

_NOTHING_LEFT_S = 2.0
"""How long to wait in real time when no timer is set: only another thread can then
wake the loop.  Our our choice: long for a thread, short for a person."""
_DECIMALS = 9
"""Virtual time is kept to the nanosecond, the resolution that asyncio assumes, so
that sums of steps such as 0.1 s do not creep."""


class StalledError(RuntimeError):
    """Nothing is ready, no timer is set, and nobody wakes the loop."""


class _JumpingSelector(selectors.BaseSelector):
    """A selector that never waits: it moves the loop's time instead."""

    def __init__(self, pace: float = 0.0) -> None:
        self.now_s = 0.0
        self._pace = pace
        self._real = selectors.DefaultSelector()

    def select(
        self, timeout: float | None = None
    ) -> list[tuple[selectors.SelectorKey, int]]:
        ready = self._real.select(0)
        if ready:
            return ready
        if timeout is None:
            return self._wait_for_a_thread()
        if timeout > 0 and self._pace > 0.0:
            # Slept before the jump: descriptors that wake meanwhile wait no longer.
            ready = self._real.select(timeout / self._pace)
        if timeout > 0:
            self.now_s = round(self.now_s + timeout, _DECIMALS)
        return ready

    def _wait_for_a_thread(self) -> list[tuple[selectors.SelectorKey, int]]:
        ready = self._real.select(_NOTHING_LEFT_S)
        if not ready:
            msg = (
                f"virtual time has stopped at {self.now_s:g} s: "
                "every task waits for something that no timer will bring"
            )
            raise StalledError(msg)
        return ready

    def register(
        self, fileobj: Any, events: int, data: Any = None
    ) -> selectors.SelectorKey:
        return self._real.register(fileobj, events, data)

    def unregister(self, fileobj: Any) -> selectors.SelectorKey:
        return self._real.unregister(fileobj)

    def modify(
        self, fileobj: Any, events: int, data: Any = None
    ) -> selectors.SelectorKey:
        return self._real.modify(fileobj, events, data)

    def get_map(self) -> Any:
        return self._real.get_map()

    def get_key(self, fileobj: Any) -> selectors.SelectorKey:
        return self._real.get_key(fileobj)

    def close(self) -> None:
        self._real.close()


class VirtualLoop(asyncio.SelectorEventLoop):
    """An asyncio loop in virtual time, starting at 0 s."""

    def __init__(self, pace: float = 0.0) -> None:
        """Make the loop.

        Args:
            pace: virtual seconds that pass in a real one; 0: no waiting at all.
        """
        self._jumping = _JumpingSelector(pace)
        super().__init__(self._jumping)

    def time(self) -> float:
        """Return the virtual seconds since the loop was made."""
        return self._jumping.now_s


def run_virtual(coroutine: Coroutine[Any, Any, T]) -> T:
    """Run a coroutine to its end in virtual time, and return what it returns.

    Tasks that it leaves behind are cancelled, as by `asyncio.run`.
    """
    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(coroutine)


def run_paced(coroutine: Coroutine[Any, Any, T], pace: float) -> T:
    """Run a coroutine in virtual time that passes `pace` times as fast as real time.

    A pace of 0 waits for nothing, as `run_virtual`.
    """
    with asyncio.Runner(loop_factory=lambda: VirtualLoop(pace)) as runner:
        return runner.run(coroutine)
