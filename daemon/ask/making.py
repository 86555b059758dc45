"""The making of the ask socket: off the loop, since a folder may not answer."""

import socket
from collections.abc import Awaitable, Callable
from pathlib import Path
from threading import Lock

OffLoop = Callable[[Callable[[], socket.socket]], Awaitable[socket.socket]]
"""Has it made in a thread."""


async def at_once(work: Callable[[], socket.socket]) -> socket.socket:
    """Make it here and now."""
    return work()


class SocketMaking:
    """Makes one; whoever gives it up leaves none behind, whenever it is made."""

    def __init__(self, make: Callable[[], socket.socket], path: Path) -> None:
        """Take what makes it, and where."""
        self._make, self._path = make, path
        self._lock = Lock()
        self._made: socket.socket | None = None
        self._is_given_up = False

    def make(self) -> socket.socket:
        """Make it, in whatever thread; may block."""
        made = self._make()
        with self._lock:
            self._made = made
        if self._is_given_up:
            self.give_up()
        return made

    def give_up(self) -> None:
        """Close and remove it, now or as soon as it is made."""
        with self._lock:
            self._is_given_up = True
            made, self._made = self._made, None
        if made is not None:
            made.close()
            self._path.unlink(missing_ok=True)
