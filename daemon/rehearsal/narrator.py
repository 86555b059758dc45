"""Tells a rehearsal as it goes: what a sleeper would hear, what phones would get."""

from collections.abc import Callable
from datetime import tzinfo
from operator import attrgetter

from cabinvigil.daemon.core.model import (
    AlarmState,
    Alert,
    Command,
    Priority,
    Record,
    Sound,
    Transition,
)
from cabinvigil.daemon.core.notification import AGAIN, SECOND
from cabinvigil.daemon.core.sentences import NEWS
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.signal.patterns import LOUD_AT_ONCE
from cabinvigil.daemon.text.moments import time_of_day

HEARD = {
    "temporal-four": "four short pulses, a pause, again: everyone outside",
    "temporal-three": "three long pulses, a pause, again: fire, everyone outside",
    "three-pulse": "three pulses, a pause, again: wake and ventilate",
    "chirp": "one chirp a minute: a fault, look when you wake",
    "quiet": "silence",
    "test": "the test sound",
}

UNHEARD = frozenset(
    {
        AlarmState.NORMAL,
        AlarmState.SHELVED,
        AlarmState.SUPPRESSED,
        AlarmState.OUT_OF_SERVICE,
    }
)
"""States in which an alarm says nothing."""


class Narrator:
    """An `Output` that writes lines for people."""

    name = "narrator"

    def __init__(
        self,
        say: Callable[[str], None],
        zone: tzinfo,
        for_the_second: Callable[[Alert], str] = attrgetter("text"),
    ) -> None:
        """Take where lines go.

        Args:
            say: takes a line.
            zone: in which the night's time is told.
            for_the_second: makes the second phone's own text.
        """
        self._say = say
        self._zone = zone
        self._for_the_second = for_the_second
        self.rings: list[tuple[float, Transition]] = []
        """Every time an alarm began to be told, or to wake people, with its moment."""
        self.trials: list[str] = []
        """The texts of trials that began."""
        self._last: dict[str, Priority] = {}

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Report sounds and alerts; remember alarms."""
        at = time_of_day(stamp.wall.astimezone(self._zone), to_seconds=True)
        match command:
            case Sound():
                is_loud = command.louder or command.pattern in LOUD_AT_ONCE
                louder = ", the second sounder too" if is_loud else ""
                self._say(f"{at}  sound  {HEARD[command.pattern]}{louder}")
            case Alert():
                self._say(f"{at}  {self._phone_line(command)}")
            case Transition():
                if self._rings(command):
                    self.rings.append((stamp.up_s, command))
                self._last[command.alarm] = command.priority
            case Record(event="trial", fields={"state": "begun", "text": str(text)}):
                self.trials.append(text)
            case _:
                pass

    @property
    def has_woken(self) -> bool:
        """Whether anything told was grave enough to wake people."""
        return any(ring.priority >= Priority.MEDIUM for _, ring in self.rings)

    def _rings(self, change: Transition) -> bool:
        """Return whether it begins to be told, or to wake people, with this change."""
        if change.state is not AlarmState.UNACKNOWLEDGED:
            return False
        if change.was in UNHEARD:
            return change.priority > Priority.FAULT
        last = self._last.get(change.alarm, Priority.FAULT)
        return last < Priority.MEDIUM <= change.priority

    def _phone_line(self, alert: Alert) -> str:
        signal = "" if alert.alarm in NEWS else f"{alert.priority.signal}  "
        if alert.escalation >= SECOND:
            return f"second phone  {signal}{self._for_the_second(alert)}"
        again = " (not acknowledged, repeated)" if alert.escalation == AGAIN else ""
        return f"phone  {signal}{alert.text}{again}"

    def start(self) -> None:
        """Nothing to start."""

    def stop(self, deadline_s: float) -> None:
        """Nothing to stop."""


class LineWriter:
    """An `Output` that spells transitions and estimates as JSON Lines."""

    name = "lines"

    def __init__(self, write: Callable[[Command, float], None]) -> None:
        """Take what writes a command with its time."""
        self._write = write

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Hand it on."""
        self._write(command, stamp.up_s)

    def start(self) -> None:
        """Nothing to start."""

    def stop(self, deadline_s: float) -> None:
        """Nothing to stop."""
