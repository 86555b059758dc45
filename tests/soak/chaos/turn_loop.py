"""The event loop in the common time of `shared_time`."""

import asyncio
import selectors
from math import inf
from typing import Any

from tests.soak.chaos.shared_time import ROUND_S, Seat, SharedTime


class _TurnSelector(selectors.BaseSelector):
    """Looks at real descriptors, and waits in the common time."""

    def __init__(self, time: SharedTime) -> None:
        self._time = time
        self._real = selectors.DefaultSelector()
        self.seat: Seat | None = None

    def select(self, timeout: float | None = None) -> Any:
        self._time.now_s += ROUND_S
        ready = self._real.select(0)
        if ready or self._time.seat is None:
            return ready
        self.seat = self._time.seat
        until_s = inf if timeout is None else self._time.now_s + max(0.0, timeout)
        self._time.wait(until_s)
        return self._real.select(0)

    def register(self, fileobj: Any, events: int, data: Any = None) -> Any:
        return self._real.register(fileobj, events, data)

    def unregister(self, fileobj: Any) -> Any:
        return self._real.unregister(fileobj)

    def modify(self, fileobj: Any, events: int, data: Any = None) -> Any:
        return self._real.modify(fileobj, events, data)

    def get_map(self) -> Any:
        return self._real.get_map()

    def get_key(self, fileobj: Any) -> Any:
        return self._real.get_key(fileobj)

    def close(self) -> None:
        self._real.close()


class TurnLoop(asyncio.SelectorEventLoop):
    """An event loop in the common time."""

    def __init__(self, time: SharedTime) -> None:
        self._shared, self._turns = time, _TurnSelector(time)
        super().__init__(self._turns)

    def time(self) -> float:
        return self._shared.now_s

    def call_soon_threadsafe(self, *args: Any, **kwargs: Any) -> asyncio.Handle:
        handle = super().call_soon_threadsafe(*args, **kwargs)
        if self._turns.seat is not None:
            self._shared.ring(self._turns.seat)
        return handle
