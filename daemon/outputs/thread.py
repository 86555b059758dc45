"""The thread of an output: its start, its sleep, its guard, its end by a deadline.

What an output does in it is its own, and so is what waits there to be done.  Whatever
that raises is told, and the work is called again; a thread that the machine does not
give is told, and asked for again.
"""

from collections.abc import Callable
from contextlib import suppress
from threading import Event, Thread

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.text.errors import bug_text

AGAIN_S, LONGEST_AGAIN_S = 0.5, 4.0
"""So long after a bug in it the work is called again, always; doubling while the bug
stays: our choice, soon enough for a sleeper's alarm, and below the five seconds in
which a sound loop that stands still is a dead one."""
CONCERN = "thread"
"""Of the output's faults: its own are none of these."""

HUNG_S = 30.0
"""Work that takes longer than this hangs: our choice, no card is so slow."""

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
        clock: Clock | None = None,
        hung: str = "",
    ) -> None:
        """Set it up; nothing runs before `start`.

        Args:
            name: of the thread.
            work: what is done in it.
            health: is told of a bug in the work.
            stumbled: the sentence for that, with `{bug}` where the bug is named.
            last: called once, after the end was told: what must not be left undone.
            clock: shows how long the work takes; None where it may take hours.
            hung: the sentence for work that hangs.
        """
        self._name = name
        self._work = work
        self._health = health
        self._stumbled = stumbled
        self._last = last
        self._clock = clock
        self._hung = hung
        self._busy_since_s: float | None = None
        self._ends = Event()
        self._wake = Event()
        self._thread: Thread | None = None
        self._is_wanted = False
        self._has_stumbled = False

    @property
    def is_running(self) -> bool:
        """Whether the thread lives."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def is_ending(self) -> bool:
        """Whether the end was told: work that takes long looks here."""
        return self._ends.is_set()

    def start(self) -> bool:
        """Start the thread, where none runs; never raises; return whether one does.

        Where the machine gives none, that is told, and `keep` asks again.
        """
        if self.is_running:
            return True
        self._ends.clear()
        self._is_wanted = True
        # A daemon: one that hangs in a disk or a broker ends with the process.
        thread = Thread(target=self._run, name=self._name, daemon=True)
        self._thread = thread  # before it runs: it may come by here itself
        try:
            thread.start()
        except Exception as error:
            text = f"The thread '{self._name}' cannot be started ({error}): it is asked"
            text += " for again with each tick; check the limits of the unit."
            with suppress(Exception):
                self._health.fault("failed", text, concern=CONCERN)
            self._thread = None
            return False
        return True

    def keep(self) -> None:
        """Start the thread again where it was started, was not ended, and is not there.

        Where it is there and hangs in its work, that is told.  An output calls it with
        each command that it is offered, so once a tick.
        """
        if self._is_wanted and not self._ends.is_set():
            self.start()
        self._tell_if_hung()

    def wake(self) -> None:
        """Have the work called now, or once more where it is at it; never blocks."""
        self._wake.set()

    def rest(self, for_s: float) -> None:
        """Sleep within the work: only the end wakes."""
        self._ends.wait(for_s)

    def end(self) -> None:
        """Report the thread to end; never blocks, and the work itself may."""
        self._ends.set()
        self._wake.set()

    def join(self, deadline_s: float) -> bool:
        """Wait for the end, at most for so long; return whether none runs any more."""
        if self._thread is not None:
            self._thread.join(deadline_s)
        return not self.is_running

    def stop(self, deadline_s: float) -> bool:
        """Report the thread to end, and wait for it as `join` does."""
        self.end()
        return self.join(deadline_s)

    def report(self, bug: BaseException) -> None:
        """Report of a bug; never raises, whatever is wrong with whoever is told."""
        self._has_stumbled = True
        with suppress(Exception):
            text = self._stumbled.format(bug=bug_text(bug))
            self._health.fault("late", text, type(bug).__name__, concern=CONCERN)

    def _run(self) -> None:
        again_s = AGAIN_S
        while not self._ends.is_set():
            self._has_stumbled = False
            try:
                wait_s = self._timed_work()
                if not self._has_stumbled:
                    again_s = AGAIN_S
                    self._tell_well()
                self._wake.wait(wait_s)
            except BaseException as bug:  # SystemExit too: nobody else would tell
                self.report(bug)
                self._wake.wait(again_s)
                again_s = min(2.0 * again_s, LONGEST_AGAIN_S)
            # Before anything is looked at: what comes after this wakes the next wait.
            self._wake.clear()
        try:
            self._last()
        except BaseException as bug:
            self.report(bug)

    def _timed_work(self) -> float | None:
        if self._clock is None:
            return self._work()
        self._busy_since_s = self._clock.monotonic()
        try:
            return self._work()
        finally:
            self._busy_since_s = None

    def _tell_if_hung(self) -> None:
        since_s = self._busy_since_s
        if since_s is None or self._clock is None:
            return
        if self._clock.monotonic() - since_s > HUNG_S:
            with suppress(Exception):
                self._health.fault("blocked", self._hung, concern=CONCERN)

    def _tell_well(self) -> None:
        """Report that a bug is over; where nobody takes it, the next round does."""
        with suppress(Exception):
            self._health.ok(CONCERN)
