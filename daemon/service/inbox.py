"""What other threads hand to the loop; it waits until the monitor has begun."""

import asyncio
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any


class Inbox:
    """Calls made from any thread are carried out on the loop, in order."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        """Keep all that comes, until `open`."""
        self._loop = loop
        self._early: list[Callable[[], None]] | None = []

    def soon(self, call: Callable[..., None], *values: Any) -> None:
        """Call on the loop; at the very end there may be no loop any more."""
        with suppress(RuntimeError):
            self._loop.call_soon_threadsafe(self._take, partial(call, *values))

    def open(self) -> None:
        """Carry out what came before the log had its start, and from now on at once."""
        early, self._early = self._early or [], None
        for call in early:
            call()

    def _take(self, call: Callable[[], None]) -> None:
        if self._early is None:
            call()
        else:
            self._early.append(call)
