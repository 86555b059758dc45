"""The thread of an output: its start, its sleep, its guard, its end by a deadline.

What an output does in it is its own, and so is what waits there to be done.
"""

from collections.abc import Callable
from contextlib import suppress
from threading import Event, Thread

from cabinvigil.daemon.outputs.base import FaultLatch

AGAIN_S = 0.5
"""So long after a bug in it the work is called again, always: our own choice, soon
enough for a sleeper's alarm, and seldom enough for a small Pi."""

Work = Callable[[], float | None]
"""Does what is due; returns in how many seconds something will be, where nobody calls
`wake` before; None: nothing will."""


class OutputThread:
    """Calls an output's work again and again, until it is told to end.

    A bug in the work is a fault of the output, and no end in silence.
    """

    def __init__(
        self,
        name: str,
        work: Work,
        health: FaultLatch,
        stumbled: str,
        *,
        last: Work = lambda: None,
    ) -> None:
        """Set it up; nothing runs before `start`.

        Args:
            name: of the thread.
            work: what is done in it.
            health: is told of a bug in the work.
            stumbled: the sentence for that, with `{bug}` where the bug is named.
            last: called once, after the end was told: what must not be left undone.
        """
        self._name = name
        self._work = work
        self._health = health
        self._stumbled = stumbled
        self._last = last
        self._ends = Event()
        self._wake = Event()
        self._thread: Thread | None = None

    @property
    def is_running(self) -> bool:
        """Whether the thread lives."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def is_ending(self) -> bool:
        """Whether the end was told: work that takes long looks here."""
        return self._ends.is_set()

    def start(self) -> None:
        """Start the thread, where none runs."""
        if self.is_running:
            return
        self._ends.clear()
        # A daemon: one that hangs in a disk or a broker ends with the process.
        self._thread = Thread(target=self._run, name=self._name, daemon=True)
        self._thread.start()

    def wake(self) -> None:
        """Have the work called now, or once more where it is at it; never blocks."""
        self._wake.set()

    def rest(self, for_s: float) -> None:
        """Sleep within the work: only the end wakes."""
        self._ends.wait(for_s)

    def end(self) -> None:
        """Tell the thread to end; never blocks, and the work itself may."""
        self._ends.set()
        self._wake.set()

    def join(self, deadline_s: float) -> bool:
        """Wait for the end, at most for so long; return whether none runs any more."""
        if self._thread is not None:
            self._thread.join(deadline_s)
        return not self.is_running

    def stop(self, deadline_s: float) -> bool:
        """Tell the thread to end, and wait for it as `join` does."""
        self.end()
        return self.join(deadline_s)

    def report(self, bug: Exception) -> None:
        """Tell of a bug; never raises, whatever is wrong with whoever is told."""
        text = f"{type(bug).__name__}: {bug}"
        with suppress(Exception):
            self._health.fault("late", self._stumbled.format(bug=text), text)

    def _run(self) -> None:
        while not self._ends.is_set():
            wait_s = self._guard(self._work)
            self._wake.wait(wait_s)
            # Before anything is looked at: what comes after this wakes the next wait.
            self._wake.clear()
        self._guard(self._last)

    def _guard(self, work: Work) -> float | None:
        """Call it; return when to call it again, after a bug too."""
        try:
            return work()
        except Exception as bug:
            self.report(bug)
            return AGAIN_S
