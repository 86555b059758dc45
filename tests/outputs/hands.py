"""Hands for the tests of outputs: a clock that is set, and lines that misbehave."""

from datetime import UTC, datetime, timedelta

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.signal.gpio import LineCheck, LineError
from tests.recording_line import RecordingLine

EVENING = datetime(2025, 1, 14, 21, 0, tzinfo=UTC)


class HandClock:
    """A clock that stands until it is moved."""

    def __init__(self, start: datetime = EVENING) -> None:
        self.now_s = 0.0
        self.start = start

    def monotonic(self) -> float:
        return self.now_s

    def wall(self) -> datetime:
        return self.start + timedelta(seconds=self.now_s)

    def stamp(self) -> Stamp:
        return Stamp(self.now_s, self.wall())


class Told(list[SourceFault | SourceOk]):
    """What was reported; call it as a `Report`."""

    def __call__(self, event: SourceFault | SourceOk) -> None:
        self.append(event)

    def kinds(self) -> list[str]:
        return [e.kind if isinstance(e, SourceFault) else "ok" for e in self]


class FailingLine(RecordingLine):
    """Fails from the nth change on, until mended."""

    def __init__(self, clock: HandClock, fails_from: int = 10**9) -> None:
        super().__init__(clock)
        self.fails_from = fails_from

    def set(self, *, on: bool) -> None:
        if len(self.changes) >= self.fails_from:
            raise LineError(5, "GPIO line 'GPIO17' cannot be switched")
        super().set(on=on)

    def close(self) -> None:
        self.is_closed = True


class SensedLine(RecordingLine):
    """A line whose sense says what `sensed` makes of the level."""

    def __init__(self, clock: HandClock) -> None:
        super().__init__(clock)
        self.sensed = {True: True, False: False}

    def self_test(self) -> LineCheck:
        follows = self.sensed[self.is_on] == self.is_on
        return LineCheck.HEARD if follows else LineCheck.NOT_HEARD
