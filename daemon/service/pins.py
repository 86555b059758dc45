"""All lines that the monitor drives, so that its end leaves each at a stated level.

A sounder's thread may hang in one line, or in the proof of another, at the moment of
the stop.  So the lines are not left to it: each goes through here, is driven low from
here first and again at the end, and in between nobody can switch it on.
"""

from collections.abc import Callable
from threading import Lock, Thread

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.outputs.signal.gpio import GpioOut, LineCheck, LineError

LOCK_S = 0.2
"""A line whose owner hangs in it is driven all the same, after this (our choice)."""

Open = Callable[[], GpioOut]


class _HeldLine:
    """A line as its owner sees it; after the end it is low, whatever its owner asks."""

    def __init__(self, name: str, line: GpioOut, pins: "Pins") -> None:
        self.name = name
        self._line = line
        self._pins = pins
        self._lock = Lock()

    def set(self, *, on: bool) -> None:
        with self._lock:
            self._line.set(on=on and not self._pins.is_ended)

    def self_test(self) -> LineCheck:
        return self._line.self_test()

    def close(self) -> None:
        """Let it go; at the end it is held low for as long as the process lives."""
        if self._pins.is_ended:
            return
        self._pins.forget(self)
        self._line.close()

    def lower(self) -> None:
        """Drive it low, though its owner hangs in it."""
        is_ours = self._lock.acquire(timeout=LOCK_S)
        try:
            self._line.set(on=False)
        finally:
            if is_ours:
                self._lock.release()

    def release(self) -> None:
        """Drive it low once more, and give it back to the kernel."""
        self._line.close()


class Pins:
    """The lines that are held now."""

    def __init__(self, clock: Clock) -> None:
        """Hold none yet."""
        self._clock = clock
        self._lines: list[_HeldLine] = []
        self.is_ended = False
        """Whether every line is to be low from now on."""

    def held(self, name: str, open_line: Open) -> Open:
        """Return what opens a line so that it is held here too."""

        def opened() -> GpioOut:
            line = _HeldLine(name, open_line(), self)
            self._lines.append(line)
            if self.is_ended:  # it was being opened while the end came
                line.lower()
            return line

        return opened

    def forget(self, line: _HeldLine) -> None:
        """Its owner has let a line go."""
        if line in self._lines:
            self._lines.remove(line)

    def lower(self, deadline_s: float) -> list[str]:
        """Drive every line low, each by itself; nobody switches one on after this.

        Returns:
            The names of those that did not answer, or could not be driven.
        """
        self.is_ended = True
        return self._each("lowering", _HeldLine.lower, deadline_s)

    def release(self, deadline_s: float) -> list[str]:
        """Drive every line low again and give it back; returns as `lower` does."""
        self.is_ended = True
        return self._each("releasing", _HeldLine.release, deadline_s)

    def _each(
        self, what: str, act: Callable[[_HeldLine], None], deadline_s: float
    ) -> list[str]:
        lines = list(self._lines)
        failed = [line.name for line in lines]

        def guarded(line: _HeldLine) -> None:
            try:
                act(line)
            except LineError:
                return
            failed.remove(line.name)

        threads = [
            Thread(
                target=guarded, args=(line,), name=f"{what}-{line.name}", daemon=True
            )
            for line in lines
        ]
        until_s = self._clock.monotonic() + deadline_s
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(max(0.0, until_s - self._clock.monotonic()))
        return list(failed)
