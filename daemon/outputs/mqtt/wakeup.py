"""Wakes a thread that sleeps in select: any thread may ring, and none is held up."""

import os
from contextlib import suppress
from threading import Lock


class Wakeup:
    """A pipe to oneself, from `open` to `close`; ringing is harmless at other times."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._rx = self._tx = -1
        self._is_open = False

    def open(self) -> None:
        """Make the pipe, where there is none."""
        with self._lock:
            if not self._is_open:
                self._rx, self._tx = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
                self._is_open = True

    def fileno(self) -> int:
        """Return the descriptor that becomes readable."""
        return self._rx

    def ring(self) -> None:
        """Wake the sleeper, or its next sleep."""
        with self._lock, suppress(BlockingIOError):  # full: it is awake already
            if self._is_open:
                os.write(self._tx, b"\0")

    def hush(self) -> None:
        """Take the ringing back."""
        with suppress(BlockingIOError):
            while len(os.read(self._rx, 4096)) == 4096:
                continue

    def close(self) -> None:
        """Let the pipe go."""
        with self._lock:
            if self._is_open:
                self._is_open = False
                os.close(self._rx)
                os.close(self._tx)
