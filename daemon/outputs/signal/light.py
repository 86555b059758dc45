"""The light or bed shaker: shows by its blinking how the alarms stand.

It shows conditions, not sounds: acknowledging quiets the buzzer and leaves the light,
so that nothing that stands is ever hidden from someone who cannot hear.
"""

from collections.abc import Callable, Mapping

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import AlarmState, Command, Priority, Transition
from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink, Stamp
from cabinvigil.daemon.outputs.signal.gpio import GpioOut
from cabinvigil.daemon.outputs.signal.patterns import Edge
from cabinvigil.daemon.outputs.signal.player import Player
from cabinvigil.daemon.outputs.signal.retrying_line import RetryingLine

BLINKS_S: Mapping[str, tuple[float, float]] = {
    # On and off, in seconds.  IEC 60601-1-8 (check_values iec60601_lights, from
    # memory): high 1.4 to 2.8 Hz, medium 0.4 to 0.8 Hz, both 20 to 60 % on; low
    # steady.  Ours goes dark for a tenth of a second each three seconds: a pin that
    # stays high when its program dies must not look like one that lives.
    "high": (0.25, 0.25),
    "medium": (0.8, 0.8),
    "low": (2.9, 0.1),
    # Our own: a fault is a short blink every 5 s; all well is a glimpse every 15 s,
    # so that a dark light means a dead watch.
    "fault": (0.1, 4.9),
    "watching": (0.03, 14.97),
}
"""By state."""

_DISABLED = {AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE}


def blink(state: str, since_s: float) -> Edge:
    """Return whether the light shines `since_s` into a state; unknown: as high."""
    on_s, off_s = BLINKS_S.get(state, BLINKS_S["high"])
    on_us, round_us = round(on_s * 1e6), round((on_s + off_s) * 1e6)
    at_us = max(0, round(since_s * 1e6))
    base_us = at_us - at_us % round_us
    if at_us - base_us < on_us:
        return Edge(is_on=True, next_change_s=(base_us + on_us) / 1e6)
    return Edge(is_on=False, next_change_s=(base_us + round_us) / 1e6)


def shown(standing: Mapping[str, tuple[AlarmState, Priority]]) -> str:
    """Return which state the light shows for all alarms that are not normal."""
    highest = "watching"
    rank = 0
    for state, priority in standing.values():
        word = "fault" if state in _DISABLED else priority.word
        # A condition that is over and was never answered is news, and no danger.
        if state is AlarmState.RETURNED and priority > Priority.LOW:
            word = Priority.LOW.word
        if Priority[word.upper()] > rank:
            highest, rank = word, Priority[word.upper()]
    return highest


class Light:
    """An `Output` that follows the alarms' transitions."""

    name = "light"

    def __init__(
        self,
        open_line: Callable[[], GpioOut],
        clock: Clock,
        report: FaultSink,
        *,
        inline: bool = False,
    ) -> None:
        """Set it up; arguments as of `Buzzer`."""
        health = FaultLatch(self.name, report)
        self._standing: dict[str, tuple[AlarmState, Priority]] = {}
        self._inline = inline
        self._player = Player(
            self.name,
            RetryingLine("light", open_line, health),
            blink,
            clock,
            health,
            quiet="watching",
        )

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Take a `Transition`; leave everything else."""
        self._player.keep()
        if not isinstance(command, Transition):
            return
        if command.state is AlarmState.NORMAL:
            self._standing.pop(command.alarm, None)
        else:
            self._standing[command.alarm] = (command.state, command.priority)
        self._player.play(shown(self._standing))
        if self._inline:
            self._player.step(stamp.up_s)

    def step(self, now_s: float) -> float:
        """Do what is due, inline; return seconds to the next change."""
        return self._player.step(now_s)

    def start(self) -> None:
        """Start the light's loop."""
        if not self._inline:
            self._player.start()

    def stop(self, deadline_s: float) -> None:
        """Go dark."""
        self._player.stop(deadline_s)
