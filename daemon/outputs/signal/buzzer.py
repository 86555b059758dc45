"""The buzzer: plays what the core last said, whatever becomes of everything else."""

from collections.abc import Callable

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Command, Sound
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink, Stamp
from cabinvigil.daemon.outputs.signal.gpio import GpioOut, LineCheck
from cabinvigil.daemon.outputs.signal.patterns import HURRIED, LOUD_AT_ONCE, edges
from cabinvigil.daemon.outputs.signal.player import Player
from cabinvigil.daemon.outputs.signal.retrying_line import RetryingLine


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
            report: takes faults, from this output's thread.
            open_second: the louder sounder's line, which plays along with a danger,
                and once any alarm has long gone unanswered.
            inline: no thread; the caller steps it, in virtual time.
        """
        health = FaultLatch(self.name, report)
        self._main = RetryingLine("buzzer", open_line, health)
        lines = [self._main]
        if open_second is not None:
            second_health = FaultLatch("second-sounder", report)
            lines.append(RetryingLine("second sounder", open_second, second_health))
        self._inline = inline
        self._player = Player(
            self.name,
            lines,
            edges,
            clock,
            health,
            quiet="quiet",
            once_pattern="test",
            once_over=frozenset({"quiet", "chirp"}),
        )

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Take a `Sound`; leave everything else."""
        if not isinstance(command, Sound):
            return
        if command.pattern == "test":
            self._player.play_once()
        else:
            pattern = command.pattern
            second = command.louder or pattern in LOUD_AT_ONCE
            if command.louder:
                pattern = HURRIED.get(pattern, pattern)
            self._player.play(pattern, second=second)
        if self._inline:
            self._player.step(stamp.up_s)

    def test(self) -> None:
        """Play the bedtime test once, unless a waking sound stands."""
        self._player.play_once()

    def step(self, now_s: float) -> float:
        """Do what is due, inline; return seconds to the next change."""
        return self._player.step(now_s)

    def alive_at_s(self) -> float:
        """Say when the sound loop last went round, for the watchdog."""
        return self._player.alive_at_s()

    def last_heard(self) -> tuple[LineCheck, float]:
        """Say what the last pulse proved, and when (minus infinity: none yet)."""
        return self._main.last_check, self._main.checked_at_s

    def start(self) -> None:
        """Start the sound loop."""
        if not self._inline:
            self._player.start()

    def stop(self, deadline_s: float) -> None:
        """Fall silent, and leave the pins in their safe state."""
        self._player.stop(deadline_s)
