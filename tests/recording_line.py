"""A line that is driven on paper only."""

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.signal.gpio import LineCheck


class RecordingLine:
    """Keeps every change with its moment, for tests and benchmarks."""

    def __init__(self, clock: Clock, bound: int = 100_000) -> None:
        self._clock = clock
        self._bound = bound
        self.changes: list[tuple[float, bool]] = []
        """(monotonic seconds, level), the last `bound` of them."""
        self.is_on = False
        self.is_closed = False

    def set(self, *, on: bool) -> None:
        """Note the level and its moment."""
        self.is_on = on
        self.changes.append((self._clock.monotonic(), on))
        if len(self.changes) > self._bound:
            del self.changes[: self._bound // 2]

    def close(self) -> None:
        """Note the silence at the end."""
        if self.is_on:
            self.set(on=False)
        self.is_closed = True

    def self_test(self) -> LineCheck:
        """A recording is always driven."""
        return LineCheck.DRIVEN
