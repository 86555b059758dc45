"""A line that mends itself: opened when it can be, tried again, told of when it cannot.

A buzzer whose pin cannot be had at the start must still sound once it can.  And what
proves the sound is never what ends it: a sense line that is busy or broken is told of,
and the line is driven as before.
"""

from collections.abc import Callable
from contextlib import suppress

from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.outputs.signal.gpio import (
    GpioOut,
    LineAlteredError,
    LineCheck,
    LineError,
)
from cabinvigil.daemon.text.errors import bug_text
from cabinvigil.daemon.text.sentences import ended

RETRY_S = 5.0
"""Between two tries to open a line, or to have its proof; our choice: soon, for a
sleeper's alarm."""
LOOK_S = 10.0
"""Between two looks in silence at whether there is a proof; our choice: whoever
goes to bed after a wire came off is told before he sleeps."""
STEADY_S = 45.0
"""So long after the last change from outside it is over; our choice: seen by the
next look, so within a minute."""
BAD_ON_CHECKS = 3
"""So many pulses on end without proof are a fault: one may be a loose contact."""
BAD_OFF_CHECKS = 8
"""So many silences in which the sense line claims sound: its proof is worth nothing."""

DRIVING, PROOF, ALTERED = "", "proof", "altered"
"""What may be wrong with a line, each by itself."""


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
        self._prove_at_s = float("-inf")
        self._look_at_s = float("-inf")
        self._altered_until_s = float("-inf")
        self._level = False
        self._bad_on = 0
        self._bad_off = 0
        self.last_check = LineCheck.CANNOT_TELL
        """What the line last said of itself while it sounded or shone."""
        self.checked_at_s = float("-inf")
        """When it said so."""

    def drive(self, *, on: bool, now_s: float) -> None:
        """Bring the line to a level; whatever goes wrong is told, never raised."""
        if self._line is None and now_s < self._retry_at_s:
            return
        try:
            if self._line is None:
                self._line = self._opener()
                self._line.set(on=on)
            elif on != self._level:
                self._prove(self._line, now_s)
                self._line.set(on=on)
            else:
                self._look(self._line, now_s)
                return
        except Exception as error:
            self._lose(now_s, error)
            return
        self._level = on
        self._ok(DRIVING)
        self._look(self._line, now_s)

    def close(self) -> None:
        """Leave the line silent; never raises."""
        line, self._line, self._level = self._line, None, False
        if line is not None:
            with suppress(Exception):  # a line that is gone is silent already
                line.close()

    def _lose(self, now_s: float, error: Exception) -> None:
        self._retry_at_s = now_s + RETRY_S
        self.close()
        text = ended(f"The {self._what} does not work: {_said(error)}")
        self._fault("port-missing", text, DRIVING)

    def _look(self, line: GpioOut, now_s: float) -> None:
        """See in silence whether there is a proof; what it hears then counts not."""
        if not self._level and now_s >= self._look_at_s:
            self._prove(line, now_s, counts=False)

    def _prove(self, line: GpioOut, now_s: float, *, counts: bool = True) -> None:
        """Ask the line for proof of the level that ends now."""
        if now_s < self._prove_at_s:
            return
        self._look_at_s = now_s + LOOK_S
        try:
            check = line.self_test()
        except LineAlteredError as error:
            check = LineCheck.NOT_DRIVEN
            self._altered_until_s = now_s + STEADY_S
            text = ended(f"The {self._what}: {_said(error)}")
            self._fault("altered", text, ALTERED)
        except Exception as error:
            check = LineCheck.CANNOT_TELL
            self._prove_at_s = now_s + RETRY_S
            text = f"Nothing proves that the {self._what} does what it should, "
            text += f"and it is driven without proof: {_said(error)}"
            self._fault("unproved", ended(text), PROOF)
        if self._level:
            self.last_check, self.checked_at_s = check, now_s
        if check is not LineCheck.CANNOT_TELL:
            self._weigh(check, now_s, counts=counts)

    def _weigh(self, check: LineCheck, now_s: float, *, counts: bool) -> None:
        if check.is_good is not False:
            if self._level:
                self._bad_on = 0
            else:
                self._bad_off = 0
        elif counts and self._level:
            self._bad_on += 1
        elif counts:
            self._bad_off += 1
        if self._bad_on >= BAD_ON_CHECKS:
            seen = "not heard" if check is LineCheck.NOT_HEARD else "not driven"
            self._fault(
                "not-heard",
                f"The {self._what} was switched on and is {seen}: check its wires and "
                "its power supply.",
                PROOF,
            )
        elif self._bad_off >= BAD_OFF_CHECKS:
            self._fault("sense-stuck", self._claims(check), PROOF)
        elif check.is_good and not self._bad_on and not self._bad_off:
            self._ok(PROOF)
            if now_s >= self._altered_until_s:
                self._ok(ALTERED)

    def _claims(self, check: LineCheck) -> str:
        if check is LineCheck.NOT_DRIVEN:
            return (
                f"The {self._what} is switched off and still driven: look for a wire "
                f"that is shorted, or another program that drives it."
            )
        return (
            f"The sense line of the {self._what} reports sound while it is off: check "
            "its wiring; until then nothing proves the sound."
        )

    def _fault(self, kind: str, text: str, concern: str) -> None:
        with suppress(Exception):  # the core is gone; the sound goes on
            self._health.fault(kind, text, concern=concern)

    def _ok(self, concern: str) -> None:
        with suppress(Exception):
            self._health.ok(concern)


def _said(error: Exception) -> str:
    if isinstance(error, LineError):
        return str(error)
    return bug_text(error)
