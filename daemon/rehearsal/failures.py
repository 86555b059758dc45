"""What goes wrong on the wires of a night: a schedule, played on the stage."""

from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.rehearsal.stage import Stage


class Failing:
    """Plays a night's failures as their times come."""

    def __init__(self, stage: Stage, failures: tuple[Failure, ...]) -> None:
        """Take the stage and its failures; nothing happens before `advance`."""
        self._stage = stage
        self._failures = failures

    def advance(self, now_s: float) -> None:
        """Begin and end what is due."""
        del now_s
