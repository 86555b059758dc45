"""The button at the bunk: while something sounds any press answers; a long one marks.

The decoder is pure: it sees levels and moments and gives acts.  Contacts bounce, and a
sleeper leans on things: in silence what lasts too long means nothing, and is told.
"""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Act, ActKind, Command, Sound
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink, Stamp
from cabinvigil.daemon.outputs.signal.gpio import EdgeLine, LineError
from cabinvigil.daemon.outputs.thread import OutputThread
from cabinvigil.daemon.text.sentences import ended

BOUNCE_S = 0.03
"""Shorter than this is contact bounce (common practice: 5 to 20 ms, no source)."""
LONG_S = 1.0
"""From here a press is a long one: our choice; a startled tap takes under 0.5 s."""
LEANT_ON_S = 10.0
"""From here something may lean on it: a mattress edge, a stuck contact, a wire to
ground.  While a danger sounds it may still be a frightened hand: it answers, once."""
AGE_DECIMALS = 3
"""As the log writes it."""
RETRY_S = 5.0
LOOK_S = 1.0


@dataclass(frozen=True, slots=True)
class Press:
    """What the decoder knows. Frozen: each edge gives the next."""

    down_s: float | None = None
    """When the press began; None while it is up."""
    up_s: float = float("-inf")
    """When it was last let go."""
    is_spent: bool = False
    """It has lasted so long that it was taken as a whole, though it goes on."""

    def edge(self, *, is_down: bool, at_s: float, sounds: bool) -> "Pressed":
        """Take one edge; return the acts of a press that has ended.

        Args:
            is_down: whether the button is down from now on.
            at_s: when.
            sounds: whether anything sounds that an answer would quiet.
        """
        if is_down:
            if self.down_s is not None:
                return self, ()  # an edge was lost; the press goes on
            # A bounce at release looks like a new press right after the end.
            began_s = at_s if at_s - self.up_s >= BOUNCE_S else None
            return replace(self, down_s=began_s), ()
        if self.down_s is None:
            return replace(self, up_s=at_s), ()
        held_s = at_s - self.down_s
        if held_s < BOUNCE_S:
            # It may be the bounce of a press that goes on: the next edge tells.
            return Press(None, float("-inf")), ()
        acts = () if self.is_spent else acts_of(held_s, sounds=sounds)
        return Press(None, at_s), acts

    def leant_on(self, held_s: float, *, sounds: bool) -> "Pressed":
        """Take a press that goes on and on as a whole, once."""
        if self.is_spent:
            return self, ()
        return replace(self, is_spent=True), acts_of(held_s, sounds=sounds)


Pressed = tuple[Press, tuple[Act, ...]]
"""What the decoder knows then, and what was meant."""


def acts_of(held_s: float, *, sounds: bool) -> tuple[Act, ...]:
    """Return what a press of so many seconds means.

    An answer is as old as the press: it is to what had sounded when it began.  The mark
    goes first: once the sound is quiet, a press means that somebody is up.
    """
    answer = Act(ActKind.ACKNOWLEDGE, by="button", age_s=round(held_s, AGE_DECIMALS))
    mark = Act(ActKind.MARK, by="button", text="button")
    if held_s < LONG_S:
        return (answer,)
    if sounds:
        return mark, answer
    return (mark,) if held_s < LEANT_ON_S else ()


class Button:
    """Watches the line from a thread of its own and hands acts on.

    An `Output` too: what the core has sounding tells it what a press means.
    """

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
            clock: shows how long a press goes on; the edges bring moments of
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
            "The button had an internal error ({bug}) and continues.",
        )
        self._sounds = False

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Note from a `Sound` whether anything sounds; leave everything else."""
        del stamp
        self._thread.keep()
        if isinstance(command, Sound) and command.pattern != "test":
            self._sounds = command.pattern != "quiet"

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
            text = ended(f"The button does not work: {why}")
            self._health.fault("port-missing", text)
        return RETRY_S

    def _watch(self, line: EdgeLine) -> None:
        press, seen_s = Press(), float("inf")
        while not self._thread.is_ending:
            for is_down, at_s in line.wait(LOOK_S):
                press, acts = press.edge(
                    is_down=is_down, at_s=at_s, sounds=self._sounds
                )
                self._hand_on(acts)
            now_s = self._clock.monotonic()
            seen_s = float("inf") if press.down_s is None else min(seen_s, now_s)
            if now_s - seen_s >= LEANT_ON_S:
                # Before the fault: a button at fault answers no danger.
                press, acts = press.leant_on(now_s - seen_s, sounds=self._sounds)
                self._hand_on(acts)
                self._health.fault(
                    "stuck",
                    f"The button has been pressed for {LEANT_ON_S:.0f} s: free it, or "
                    "check its wire for a short.",
                )
            else:
                self._health.ok()

    def _hand_on(self, acts: Iterable[Act]) -> None:
        for act in acts:
            with suppress(Exception):  # the core's trouble is not the button's
                self._on_act(act)
