"""A line that mends itself: opened when it can be, tried again, told of when it cannot.

A buzzer whose pin cannot be had at the start must still sound once it can.
"""

from collections.abc import Callable

from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.outputs.signal.gpio import GpioOut, LineCheck, LineError

RETRY_S = 5.0
"""Between two tries to open a line; our own choice: soon, for a sleeper's alarm."""
BAD_ON_CHECKS = 3
"""So many pulses on end without proof are a fault: one may be a loose contact."""
BAD_OFF_CHECKS = 8
"""So many silences in which the sense line claims sound: its proof is worth nothing."""


class RetryingLine:
    """Drives one line and keeps what is known of it."""

    def __init__(
        self, what: str, opener: Callable[[], GpioOut], health: FaultLatch
    ) -> None:
        self._what = what
        self._opener = opener
        self._health = health
        self._line: GpioOut | None = None
        self._retry_at_s = float("-inf")
        self._level = False
        self._bad_on = 0
        self._bad_off = 0
        self.last_check = LineCheck.CANNOT_TELL
        """What the line last said of itself while it sounded or shone."""
        self.checked_at_s = float("-inf")
        """When it said so."""

    def drive(self, *, on: bool, now_s: float) -> None:
        """Bring the line to a level; a fault is told, never raised."""
        try:
            if self._line is None:
                if now_s < self._retry_at_s:
                    return
                self._line = self._opener()
                self._line.set(on=on)
            elif on != self._level:
                self._check(now_s)
                self._line.set(on=on)
            else:
                return
        except LineError as error:
            self._lose(now_s, str(error.strerror or error))
        else:
            self._level = on
            if not self._bad_on and not self._bad_off:
                self._health.ok()

    def close(self) -> None:
        """Leave the line silent."""
        if self._line is not None:
            self._line.close()
            self._line = None
        self._level = False

    def _lose(self, now_s: float, text: str) -> None:
        self._retry_at_s = now_s + RETRY_S
        if self._line is not None:
            self._line.close()
            self._line = None
        self._level = False
        self._health.fault("port-missing", f"The {self._what} does not work: {text}.")

    def _check(self, now_s: float) -> None:
        """Ask the line for proof of the level that ends now."""
        assert self._line is not None
        check = self._line.self_test()
        if self._level:
            self.last_check, self.checked_at_s = check, now_s
            self._bad_on = self._bad_on + 1 if check.is_good is False else 0
        else:
            self._bad_off = self._bad_off + 1 if check.is_good is False else 0
        if self._bad_on >= BAD_ON_CHECKS:
            seen = "not heard" if check is LineCheck.NOT_HEARD else "not driven"
            self._health.fault(
                "not-heard",
                f"The {self._what} was switched on and is {seen}: "
                f"look at its wires and its supply.",
            )
        elif self._bad_off >= BAD_OFF_CHECKS:
            self._health.fault(
                "sense-stuck",
                f"The sense line of the {self._what} claims sound in its silence: "
                f"look at its wiring; until then nothing proves the sound.",
            )
