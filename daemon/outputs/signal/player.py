"""Plays a pattern on one line from a thread of its own: one slot, no queue.

This loop is the last thing that may fail.  It takes nothing from a queue that others
fill, waits for no lock that others hold long, and whatever goes wrong in it is told
and tried again.
"""

from collections.abc import Callable
from dataclasses import dataclass

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.outputs.signal.patterns import Edge
from cabinvigil.daemon.outputs.signal.retrying_line import RetryingLine
from cabinvigil.daemon.outputs.thread import OutputThread

LOOK_S = 0.5
"""Longest sleep of the loop, so that `alive_at_s` stays fresh for the watchdog."""


@dataclass(frozen=True, slots=True)
class Slot:
    """What is to be played: replaced as a whole, so that no lock is needed."""

    pattern: str
    is_muted: bool = False
    """Whether the pattern goes on without a sound, to be joined later in step."""
    once: int = 0
    """Grows with each wish for `once_pattern`, which is then played through once."""


class Player:
    """A line and the pattern it follows."""

    def __init__(
        self,
        name: str,
        line: RetryingLine,
        edges: Callable[[str, float], Edge],
        clock: Clock,
        health: FaultLatch,
        *,
        quiet: str,
        once_pattern: str = "",
        once_over: frozenset[str] = frozenset(),
    ) -> None:
        """Set the player up; it does nothing before `start` or `step`.

        Args:
            name: of the thread.
            line: what is driven.
            edges: the pattern's shape over time.
            clock: asked for monotonic time only.
            health: is told what went wrong in the loop.
            quiet: the pattern before anything is asked for.
            once_pattern: what `play_once` plays.
            once_over: the patterns that it may interrupt.
        """
        self._line = line
        self._edges = edges
        self._clock = clock
        self._once_pattern = once_pattern
        self._once_over = once_over
        self._slot = Slot(quiet)
        self._thread = OutputThread(
            name,
            self._round,
            health,
            f"The {name}'s loop had an internal error ({{bug}}) and continues.",
            last=line.close,
        )
        # Below here: touched by the loop alone.
        self._playing = ""
        self._began_s = 0.0
        self._once_done = 0
        self._once_began_s: float | None = None
        self._alive_at_s = float("-inf")

    def alive_at_s(self) -> float:
        """Return when the loop last went round, in monotonic seconds."""
        return self._alive_at_s

    def keep(self) -> None:
        """See to it that the thread is there, where it was started."""
        self._thread.keep()

    def play(self, pattern: str, *, is_muted: bool = False) -> None:
        """Play this from now on; the same pattern again goes on without a break."""
        self._slot = Slot(pattern, is_muted, self._slot.once)
        self._thread.wake()

    def play_once(self) -> None:
        """Play `once_pattern` through once, unless something more urgent stands."""
        slot = self._slot
        self._slot = Slot(slot.pattern, slot.is_muted, slot.once + 1)
        self._thread.wake()

    def step(self, now_s: float) -> float:
        """Bring the line to where it should be; return seconds to the next change.

        The thread does this again and again; in virtual time the caller does.
        """
        slot = self._slot
        pattern, since_s = self._choose(slot, now_s)
        edge = self._edges(pattern, since_s)
        self._line.drive(on=edge.is_on and not slot.is_muted, now_s=now_s)
        self._alive_at_s = now_s
        return edge.next_change_s - since_s

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def end(self) -> None:
        """Report the thread to end; never blocks."""
        self._thread.end()

    def stop(self, deadline_s: float) -> None:
        """End the thread, and leave the line silent."""
        if self._thread.stop(deadline_s):
            self._line.close()

    def _choose(self, slot: Slot, now_s: float) -> tuple[str, float]:
        """Return which pattern plays, and for how long it has."""
        if slot.pattern != self._playing:
            self._playing, self._began_s = slot.pattern, now_s
        if slot.once != self._once_done:
            self._once_done, self._once_began_s = slot.once, now_s
        if self._once_began_s is not None:
            since_s = now_s - self._once_began_s
            ended = self._edges(self._once_pattern, since_s).next_change_s == float(
                "inf"
            )
            if not ended and slot.pattern in self._once_over:
                return self._once_pattern, since_s
            self._once_began_s = None
            self._began_s = now_s if slot.pattern in self._once_over else self._began_s
        return self._playing, now_s - self._began_s

    def _round(self) -> float:
        """Do what is due; return how long to sleep."""
        return min(self.step(self._clock.monotonic()), LOOK_S)
