"""The buzzer: plays what the core last said, whatever becomes of everything else.

A second sounder is a second of everything: thread, line, proof and faults.  Both follow
the same patterns from the same moment, and neither waits for the other.
"""

from collections.abc import Callable

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Command, Sound
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink, Stamp
from cabinvigil.daemon.outputs.signal.gpio import GpioOut, LineCheck
from cabinvigil.daemon.outputs.signal.patterns import HURRIED, LOUD_AT_ONCE, edges
from cabinvigil.daemon.outputs.signal.player import Player
from cabinvigil.daemon.outputs.signal.retrying_line import RetryingLine
from cabinvigil.daemon.outputs.thread import CONCERN

STALE_S = 5.0
"""A sound loop that has not gone round for so long stands still; as the watchdog's
own, which looks at the first sounder alone."""


class _Sounder:
    """One line that sounds, and what plays on it."""

    def __init__(
        self,
        name: str,
        what: str,
        open_line: Callable[[], GpioOut],
        clock: Clock,
        report: FaultSink,
    ) -> None:
        self.health = FaultLatch(name, report)
        self.line = RetryingLine(what, open_line, self.health)
        self.player = Player(
            name,
            self.line,
            edges,
            clock,
            self.health,
            quiet="quiet",
            once_pattern="test",
            once_over=frozenset({"quiet", "chirp"}),
        )
        self._what = what
        self._stood_at_s = float("-inf")

    def look(self, now_s: float) -> None:
        """Report where the loop stands still; its next round shows that it does not."""
        alive_at_s = self.player.alive_at_s()
        if now_s - alive_at_s <= STALE_S:
            return
        # Twice: after the machine slept, all loops are late for one look.
        if alive_at_s == self._stood_at_s > float("-inf"):
            text = f"The {self._what} has not responded for {STALE_S:.0f} s: the other "
            text += "still works; check its line and the kernel's log."
            self.health.fault("blocked", text, concern=CONCERN)
        self._stood_at_s = alive_at_s


class Buzzer:
    """An `Output` that takes `Sound` commands into a single slot."""

    name = "buzzer"

    def __init__(
        self,
        open_line: Callable[[], GpioOut],
        clock: Clock,
        report: FaultSink,
        *,
        open_second: Callable[[], GpioOut] | None = None,
        inline: bool = False,
    ) -> None:
        """Set it up; nothing sounds and no pin is taken before `start`.

        Args:
            open_line: gives the sounder's line, or raises `LineError`; tried again
                every few seconds.
            clock: asked for monotonic time only.
            report: takes faults, from this output's threads.
            open_second: the louder sounder's line, which plays along with a danger,
                and once any alarm has long gone unanswered.
            inline: no thread; the caller steps it, in virtual time.
        """
        self._clock = clock
        self._inline = inline
        self._first = _Sounder(self.name, "buzzer", open_line, clock, report)
        self._second = (
            None
            if open_second is None
            else _Sounder(
                "second-sounder", "second sounder", open_second, clock, report
            )
        )
        if self._second is not None:
            self._second.player.play("quiet", is_muted=True)
        both = (self._first, self._second)
        self._players = [one.player for one in both if one is not None]

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Take a `Sound`; leave everything else."""
        for player in self._players:
            player.keep()
        if self._second is not None:
            self._second.look(self._clock.monotonic())
        if not isinstance(command, Sound):
            return
        if command.pattern == "test":
            self.test()
        else:
            self._play(command)
        if self._inline:
            self.step(stamp.up_s)

    def test(self) -> None:
        """Play the bedtime test once, unless a waking sound stands."""
        for player in self._players:
            player.play_once()

    def step(self, now_s: float) -> float:
        """Do what is due, inline; return seconds to the next change."""
        return min([player.step(now_s) for player in self._players])

    def alive_at_s(self) -> float:
        """Return when the first sounder's loop last went round, for the watchdog."""
        return self._first.player.alive_at_s()

    def last_heard(self) -> tuple[LineCheck, float]:
        """Return what the last pulse proved, and when (minus infinity: none yet)."""
        return self._first.line.last_check, self._first.line.checked_at_s

    def start(self) -> None:
        """Start the sound loops."""
        if not self._inline:
            for player in self._players:
                player.start()

    def stop(self, deadline_s: float) -> None:
        """Fall silent, and leave the pins in their safe state."""
        until_s = self._clock.monotonic() + deadline_s
        for player in self._players:
            player.end()
        for player in self._players:
            player.stop(max(0.0, until_s - self._clock.monotonic()))

    def _play(self, sound: Sound) -> None:
        pattern = sound.pattern
        joins = sound.louder or pattern in LOUD_AT_ONCE
        if sound.louder:
            pattern = HURRIED.get(pattern, pattern)
        self._first.player.play(pattern)
        if self._second is not None:
            self._second.player.play(pattern, is_muted=not joins)
