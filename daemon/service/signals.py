"""The signals of the process, heard by a thread of their own.

A handler of Python's, or of the event loop, waits for the loop's turn: a loop that
stands still would not hear that it is to stop.
"""

import os
import signal
from collections.abc import Callable, Mapping
from threading import Thread
from typing import Any


class Signals:
    """Calls something for each signal, from a thread, while it is entered."""

    def __init__(self, acts: Mapping[signal.Signals, Callable[[], None]]) -> None:
        """Set it up.

        Args:
            acts: what to call, from the thread; must not block long.
        """
        self._acts = acts
        self._before: dict[signal.Signals, Any] = {}

    def __enter__(self) -> "Signals":
        """Begin to hear them; on the main thread alone."""
        self._rx, self._tx = os.pipe2(os.O_CLOEXEC)
        os.set_blocking(self._tx, False)
        self._fd_before = signal.set_wakeup_fd(self._tx, warn_on_full_buffer=False)
        for number in self._acts:
            # Python writes the number to the pipe only where it has a handler.
            self._before[number] = signal.signal(number, lambda *_: None)
        self._thread = Thread(target=self._hear, name="signals", daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Leave them to whoever had them."""
        for number, handler in self._before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(self._fd_before)
        os.close(self._tx)  # ends the thread
        self._thread.join(1.0)

    def _hear(self) -> None:
        with os.fdopen(self._rx, "rb", buffering=0) as numbers:
            while number := numbers.read(1):
                act = self._acts.get(signal.Signals(number[0]))
                if act is not None:
                    act()
