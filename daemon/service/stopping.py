"""The end of the monitor: who is asked to end, in which order, by one deadline.

It runs in a thread of its own, so that an event loop that stands still is one more
thing that does not end, and not the reason why nothing does.  What has not ended is
named and left behind; threads that hang end with the process.
"""

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from threading import Event, Lock, Thread

from cabinvigil.daemon.clock import Clock

UNIT_S = 10.0
"""systemd kills after this (`TimeoutStopSec` of the unit; a test compares)."""
EXIT_S = 7.5
"""The process is ended after this, whatever still hangs: within the unit's 10 s and the
8 s that are promised, with room for a busy machine."""
NO_LEFT_S = 0.05
TELL_S = 0.2
"""Of a stage's time, kept back so that who waits for several can name which of them."""

End = Callable[[float], Sequence[str] | None]
"""Ends something, and takes at most so many seconds; may return names of what of it did
not end."""


@dataclass(frozen=True, slots=True)
class StopStage:
    """What is asked to end at one time."""

    by_s: float
    """Seconds after the stop was asked for: the next stage begins at the latest."""
    ends: tuple[str, ...]
    """Who is asked."""
    what: str
    """What the stage is for, for a reader of DEVELOPERS.md."""


STAGES = (
    StopStage(
        1.0,
        ("pins",),
        "every line of sounder and light is driven low; nobody switches one on again",
    ),
    StopStage(
        3.5,
        ("watch", "signals"),
        "connections to the ask socket are closed, ticks and sensors end; the threads "
        "of sounder, light and button, and the morning's report",
    ),
    StopStage(
        3.75,
        ("last-words",),
        "the log's `stop` line with the reason, and the state, are handed over",
    ),
    StopStage(
        6.5,
        ("outputs",),
        "log and state are written and synced; what waits for the phone is sent, and "
        "the farewell: after a crash none, so that the broker says `lost`",
    ),
    StopStage(
        7.0,
        ("pins-again",),
        "every line is driven low once more, and given back to the kernel",
    ),
)
"""In this order."""


def say(text: str) -> None:
    """Write a sentence for the journal."""
    print(f"cabinvigil: {text}", file=sys.stderr, flush=True)  # noqa: T201


def reason_of(bug: BaseException) -> str:
    """Say in a line why the monitor crashed."""
    while isinstance(bug, BaseExceptionGroup) and bug.exceptions:
        bug = bug.exceptions[0]
    text = " ".join(f"{type(bug).__name__}: {bug}".split())
    return f"crashed: {text[:200]}"


class Stopping:
    """Ends the monitor, once."""

    def __init__(
        self,
        ends_of: Callable[[], Mapping[str, End]],
        clock: Clock,
        *,
        say: Callable[[str], None],
        exit_now: Callable[[int], None] | None = None,
    ) -> None:
        """Set it up.

        Args:
            ends_of: who is to be ended, asked for at each stage; a key is a name of
                `STAGES`, or that and the name of one of several, `outputs/log`.
            clock: of the deadlines.
            say: takes a sentence for the journal.
            exit_now: ends the process without waiting for anything; None: nothing does.
        """
        self._ends_of = ends_of
        self._clock = clock
        self._say = say
        self._exit_now = exit_now
        self._lock = Lock()
        self._thread: Thread | None = None
        self._ended = Event()
        self.reason = ""
        """Why it ends; '' while it does not."""
        self.is_crash = False
        """Whether it ends because something was wrong with the monitor itself."""
        self.unended: list[str] = []
        """What did not end in time."""

    @property
    def account(self) -> str:
        """The reason, and what has not ended until now."""
        if not self.unended:
            return self.reason
        return f"{self.reason}; no end in time: {', '.join(self.unended)}"

    def begin(self, reason: str, *, is_crash: bool = False) -> None:
        """Begin the end, from any thread; whoever comes first says why."""
        with self._lock:
            if self._thread is not None:
                return
            self.reason, self.is_crash = reason, is_crash
            began_s = self._clock.monotonic()
            self._thread = Thread(
                target=self._run, args=(began_s,), name="stopping", daemon=True
            )
            self._thread.start()
            if self._exit_now is not None:
                exiting = Thread(
                    target=self._exit_after, args=(self._exit_now,), daemon=True
                )
                exiting.name = "stop-deadline"
                exiting.start()

    def wait(self) -> None:
        """Wait until all has ended or was given up; blocks."""
        self._ended.wait(EXIT_S)

    def _exit_after(self, exit_now: Callable[[int], None]) -> None:
        # Waits on nothing that others set: this thread is for what nobody foresaw.
        Event().wait(EXIT_S)
        exit_now(1 if self.is_crash else 0)

    def _run(self, began_s: float) -> None:
        if self.is_crash:
            self._say(f"the monitor {self.reason}")
        for stage in STAGES:
            self.unended += self._stage(stage, began_s + stage.by_s)
        self._ended.set()
        if self.unended:
            self._say(f"stopped; no end in time: {', '.join(self.unended)}")

    def _stage(self, stage: StopStage, until_s: float) -> list[str]:
        """Ask all of a stage at once, and wait; return what did not end."""
        unended: dict[str, Sequence[str]] = {}

        def left_s() -> float:
            return max(NO_LEFT_S, until_s - self._clock.monotonic())

        def guarded(name: str, end: End) -> None:
            try:
                unended[name] = end(max(NO_LEFT_S, left_s() - TELL_S)) or ()
            except Exception as bug:  # one that stumbles ends no other's end
                unended[name] = (f"{name} ({type(bug).__name__}: {str(bug)[:80]})",)

        threads = {}
        for key, end in self._ends_of().items():
            stage_name, _, name = key.partition("/")
            name = name or stage_name
            if stage_name in stage.ends:
                threads[name] = Thread(
                    target=guarded, args=(name, end), name=f"stop-{name}", daemon=True
                )
        for thread in threads.values():
            thread.start()
        for thread in threads.values():
            thread.join(left_s())
        return [one for name in threads for one in unended.get(name, (name,))]
