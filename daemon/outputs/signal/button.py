"""The button at the bunk: a short press acknowledges, a long one is a mark.

The decoder is pure: it sees levels and moments and gives acts.  Contacts bounce, and a
sleeper leans on things: what lasts too long is neither, and is told.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink
from cabinvigil.daemon.outputs.signal.gpio import EdgeLine, LineError
from cabinvigil.daemon.outputs.thread import OutputThread

BOUNCE_S = 0.03
"""Shorter than this is contact bounce (common practice: 5 to 20 ms, no source)."""
LONG_S = 1.0
"""From here a press is a long one: our own choice; a startled tap takes under 0.5 s."""
LEANT_ON_S = 10.0
"""From here nobody means it: a mattress edge, a stuck contact, a wire to ground."""
RETRY_S = 5.0
LOOK_S = 1.0


@dataclass(frozen=True, slots=True)
class Press:
    """What the decoder knows. Frozen: each edge gives the next."""

    down_s: float | None = None
    """When the press began; None while it is up."""
    up_s: float = float("-inf")
    """When it was last let go."""

    def edge(self, *, is_down: bool, at_s: float) -> "tuple[Press, Act | None]":
        """Take one edge; give an act where a press has ended."""
        if is_down:
            if self.down_s is not None:
                return self, None  # an edge was lost; the press goes on
            # A bounce at release looks like a new press right after the end.
            began_s = at_s if at_s - self.up_s >= BOUNCE_S else None
            return replace(self, down_s=began_s), None
        if self.down_s is None:
            return replace(self, up_s=at_s), None
        held_s = at_s - self.down_s
        if held_s < BOUNCE_S:
            # It may be the bounce of a press that goes on: the next edge tells.
            return Press(None, float("-inf")), None
        return Press(None, at_s), _act(held_s)


def _act(held_s: float) -> Act | None:
    if held_s >= LEANT_ON_S:
        return None
    if held_s >= LONG_S:
        return Act(ActKind.MARK, by="button", text="button")
    return Act(ActKind.ACKNOWLEDGE, by="button")


class Button:
    """Watches the line from a thread of its own and hands acts on."""

    name = "button"

    def __init__(
        self,
        opener: Callable[[], EdgeLine],
        on_act: Callable[[Act], None],
        report: FaultSink,
        clock: Clock,
    ) -> None:
        """Set it up.

        Args:
            opener: takes the line, or raises `LineError`; tried again.
            on_act: takes an act to the core; called from this thread.
            report: takes faults.
            clock: tells how long a press goes on; the edges bring moments of
                their own, of the kernel's clock.
        """
        self._opener = opener
        self._on_act = on_act
        self._health = FaultLatch(self.name, report)
        self._clock = clock
        self._thread = OutputThread(
            self.name,
            self._work,
            self._health,
            "The button stumbled ({bug}) and goes on.",
        )

    def start(self) -> None:
        """Start watching."""
        self._thread.start()

    def stop(self, deadline_s: float) -> None:
        """Stop watching."""
        self._thread.stop(deadline_s)

    def _work(self) -> float:
        """Watch the line; where it is lost, return how long to wait for it."""
        try:
            line = self._opener()
            try:
                self._watch(line)
            finally:
                line.close()
        except LineError as error:
            why = error.strerror or str(error)
            self._health.fault("port-missing", f"The button does not work: {why}.")
        return RETRY_S

    def _watch(self, line: EdgeLine) -> None:
        press, seen_s = Press(), float("inf")
        while not self._thread.is_ending:
            for is_down, at_s in line.wait(LOOK_S):
                press, act = press.edge(is_down=is_down, at_s=at_s)
                if act is not None:
                    with suppress(Exception):  # the core's trouble is not the button's
                        self._on_act(act)
            now_s = self._clock.monotonic()
            seen_s = float("inf") if press.down_s is None else min(seen_s, now_s)
            if now_s - seen_s >= LEANT_ON_S:
                self._health.fault(
                    "stuck",
                    f"The button has been down for {LEANT_ON_S:.0f} s: something leans "
                    f"on it, or its wire is shorted; free it.",
                )
            else:
                self._health.ok()
