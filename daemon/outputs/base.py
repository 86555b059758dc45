"""What every output shares: the stamp, `handle`, and how it tells of its faults.

An output takes each command at once or drops it by a rule it can name; it never
blocks and never raises in the caller.  Its slow work is done in a thread of its own,
so that a hung disk or broker holds up nothing else.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from threading import RLock
from typing import NamedTuple, Protocol

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


class _Standing(NamedTuple):
    """A fault that was told, and is not over."""

    kind: str
    about: str
    text: str


class FaultLatch:
    """Tells the core of a fault once, and once more when it is over.

    The same fault again, though its sentence holds another number, is not told again:
    `kind` and `about` make a fault the same.  A source may have several concerns (its
    pin, and what proves it), which begin and end apart; the core holds one fault of a
    source, so it hears the newest that stands, and the end of all.

    Any thread may tell.  What the core hears has the order in which it came about: an
    end that overtook its fault would leave the fault standing for the night.
    """

    def __init__(self, source: str, report: FaultSink) -> None:
        self._source = source
        self._report = report
        # Held while the core is told, which is what keeps the order; by one thread
        # again and again, since whoever is told may come back here.
        self._lock = RLock()
        self._standing: dict[str, _Standing] = {}

    @property
    def is_well(self) -> bool:
        """Whether no fault is active."""
        return not self._standing

    def fault(
        self, kind: str, text: str, about: str = "", *, concern: str = ""
    ) -> None:
        """Report of a fault, where it is a new one.

        Args:
            kind: a kind of `SourceFault`.
            text: one sentence: what, and what to do.
            about: tells two faults of one kind apart (a topic, a file).
            concern: what of the source has it; each has one at a time.
        """
        with self._lock:
            before = dict(self._standing)
            found = before.get(concern)
            if found is not None and (found.kind, found.about) == (kind, about):
                return
            self._standing.pop(concern, None)
            self._standing[concern] = _Standing(kind, about, text)
            self._tell(before)

    def ok(self, concern: str | None = None) -> None:
        """Report that it works, where a fault stood.

        Args:
            concern: what of the source works; None: all of it.
        """
        with self._lock:
            before = dict(self._standing)
            if concern is None:
                self._standing.clear()
            else:
                self._standing.pop(concern, None)
            self._tell(before)

    def _tell(self, before: dict[str, _Standing]) -> None:
        """Report what stands now, where the core knows another; raises as it does."""
        knows, newest = _newest(before), _newest(self._standing)
        if newest == knows:
            return
        try:
            if newest is None:
                self._report(SourceOk(self._source))
            else:
                self._report(SourceFault(self._source, newest.kind, newest.text))
        except BaseException:
            # Nobody took it, so it is not told: the next occasion tells it.
            self._standing = before
            raise


def _newest(standing: dict[str, _Standing]) -> _Standing | None:
    return standing[next(reversed(standing))] if standing else None
