"""What every output shares: the stamp, `handle`, and how it tells of its faults.

An output takes each command at once or drops it by a rule it can name; it never
blocks and never raises in the caller.  Its slow work is done in a thread of its own,
so that a hung disk or broker holds up nothing else.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from typing import Protocol

from cabinvigil.daemon.core.model import Command, SourceFault, SourceOk

FaultSink = Callable[[SourceFault | SourceOk], None]
"""Takes an output's health into the core; called from the output's own thread."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """When a command was decided."""

    up_s: float
    """Monotonic seconds: the `now` of the step that gave the command."""
    wall: datetime
    """The same moment, aware, in UTC; may be wrong before the clock is set."""


class Output(Protocol):
    """One way out: sound, phone or record."""

    name: str
    """The source in its faults: `buzzer`, `mqtt`, `log` ..."""

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Take a command, or leave it where it is not for this output.

        Never blocks and never raises.
        """
        ...

    def start(self) -> None:
        """Begin the output's own thread (nothing, where it works inline)."""
        ...

    def stop(self, deadline_s: float) -> None:
        """Finish what is queued, at most for so long, and leave a safe state."""
        ...


class FaultLatch:
    """Tells the core of a fault once, and once more when it is over.

    The same fault again, though its sentence holds another number, is not told again:
    `kind` and `about` make a fault the same.
    """

    def __init__(self, source: str, report: FaultSink) -> None:
        self._source = source
        self._report = report
        self._lock = Lock()
        self._told: tuple[str, str] | None = None

    @property
    def is_well(self) -> bool:
        """Whether no fault stands."""
        return self._told is None

    def fault(self, kind: str, text: str, about: str = "") -> None:
        """Tell of a fault, where it is a new one.

        Args:
            kind: a kind of `SourceFault`.
            text: one sentence: what, and what to do.
            about: tells two faults of one kind apart (a topic, a file).
        """
        with self._lock:
            if self._told == (kind, about):
                return
            self._told = (kind, about)
        self._report(SourceFault(self._source, kind, text))

    def ok(self) -> None:
        """Tell that it works, where a fault stood."""
        with self._lock:
            if self._told is None:
                return
            self._told = None
        self._report(SourceOk(self._source))
