"""A recorder that works inline, and hands to feed it."""

from datetime import UTC, datetime
from pathlib import Path

from cabinvigil.daemon.core.model import (
    AlarmState,
    Priority,
    Record,
    Transition,
)
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.log.writer import Recorder
from tests.outputs.hands import EVENING, HandClock, Told

START = {"version": "0.1.0", "config_digest": "ab" * 32, "config": {"cabin": "lapwing"}}
RING = Transition(
    "o2-low", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL, Priority.HIGH,
    "Oxygen low.", 1.0,
)  # fmt: skip


class Bench:
    """A recorder that works inline, and the hands to feed it."""

    def __init__(
        self,
        folder: Path,
        *,
        packed: bool = True,
        keep_days: float = 30.0,
        max_bytes: int = 10**9,
        start: datetime = EVENING,
    ) -> None:
        self.folder = folder
        self.clock = HandClock(start)
        self.told = Told()
        self.nights = Nights(
            folder, keep_days=keep_days, max_bytes=max_bytes, packed=packed, zone=UTC
        )
        self.recorder = Recorder(self.nights, self.clock, self.told, inline=True)

    def begin(self) -> "Bench":
        self.recorder.handle(Record("start", START, urgent=True), self.clock.stamp())
        return self

    def air(self, seconds: int, step_s: float = 1.0) -> None:
        for _ in range(seconds):
            self.clock.now_s += step_s
            fields = {"o2_pct": 20.5, "tick": self.clock.now_s}
            self.recorder.handle(Record("air", fields), self.clock.stamp())

    def ring(self) -> None:
        self.recorder.handle(RING, self.clock.stamp())

    def on_disk(self) -> list[LogLine]:
        book = Logbook(*(each.path for each in self.nights.files()))
        lines = list(book)
        assert book.flaws.is_clean, book.flaws
        return lines

    def names(self) -> list[str]:
        return sorted(path.name for path in self.folder.iterdir())


def ticks(lines: list[LogLine]) -> list[float]:
    return [each.fields["tick"] for each in lines if each.event == "air"]
