"""Tells a rehearsal as it goes: what a sleeper would hear, what a phone would get."""

from collections.abc import Callable
from datetime import tzinfo

from cabinvigil.daemon.core.model import Alert, Command, Priority, Sound, Transition
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.text.moments import time_of_day

HEARD = {
    "temporal-four": "four short pulses, a pause, again: go to fresh air",
    "three-pulse": "three pulses, a pause, again: wake and ventilate",
    "chirp": "one chirp a minute: something does not work",
    "quiet": "silence",
    "test": "the test sound",
}


class Narrator:
    """An `Output` that writes lines for people."""

    name = "narrator"

    def __init__(self, say: Callable[[str], None], zone: tzinfo) -> None:
        """Take where lines go, and in which zone the night's time is told."""
        self._say = say
        self._zone = zone
        self.rings: list[tuple[float, Transition]] = []
        """Every time an alarm began to sound or be told, with its moment."""

    def handle(self, command: Command, stamp: Stamp) -> None:
        """Tell sounds and alerts; remember alarms."""
        at = time_of_day(stamp.wall.astimezone(self._zone), to_seconds=True)
        match command:
            case Sound():
                louder = ", and the loud sounder with it" if command.louder else ""
                self._say(f"{at}  sound  {HEARD[command.pattern]}{louder}")
            case Alert():
                again = {1: " (nobody answered: again)", 2: " (second phone)"}
                told = again.get(command.escalation, "")
                self._say(
                    f"{at}  phone  [{command.priority.word}] {command.text}{told}"
                )
            case Transition() if command.was.value == "normal":
                if command.priority > Priority.FAULT:
                    self.rings.append((stamp.up_s, command))
            case _:
                pass

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
