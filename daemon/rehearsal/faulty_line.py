"""An emulated contact whose line or wire fails."""

import errno
from collections.abc import Sequence
from random import Random

from cabinvigil.daemon.rehearsal.emulated.contact import EmulatedContact
from cabinvigil.daemon.rehearsal.emulated.ways import Now
from cabinvigil.daemon.rehearsal.faults import LINE_FAULTS, FaultPlan, FaultSpan, alter

CHATTER_MS = 20
"""A loose wire comes and goes so fast, here (our choice)."""
WINDOW_MS = 500
"""For so long it does, in a message."""


class FaultyLine:
    """A line as the shell has it, with the faults of now."""

    def __init__(
        self,
        name: str,
        part: EmulatedContact,
        spans: Sequence[FaultSpan],
        seed: int,
        now: Now,
        *,
        active_low: bool = True,
    ) -> None:
        """Wrap a contact; arguments as for `faulty_serial.FaultySerialPart`.

        Args:
            name: the part's.
            part: the contact.
            spans: the faults, those of other wires among them.
            seed: of what is drawn.
            now: the present in seconds.
            active_low: the line is low while the contact tells of something.
        """
        self._name, self._part = name, part
        self._plan = FaultPlan(spans, frozenset({name}), LINE_FAULTS, now)
        self._random = Random(seed)
        self._active_low = active_low
        self._said = b""

    def levels(self) -> bytes:
        """Return the line's message.

        Raises:
            OSError: its chip has vanished.
        """
        was, fault = self._plan.change(self._name)
        if was == "vanish" and not fault:
            self._part.power_up()
        if fault == "vanish":
            why = "the GPIO line has vanished with its chip: plug it in again"
            raise OSError(errno.ENODEV, why)
        text = self._part.levels()
        if fault in ("zeros", "ones"):
            is_told = (fault == "zeros") is self._active_low
            return f"{is_told:d} ={WINDOW_MS}\n".encode()
        if fault == "babble":
            changes = range(CHATTER_MS, WINDOW_MS, CHATTER_MS)
            words = [f"{n % 2:d}@{at}" for n, at in enumerate(changes, 1)]
            return f"0 {' '.join(words)} ={WINDOW_MS}\n".encode()
        if fault == "stick":
            return self._said or text
        if not fault:
            level = text.rpartition(b" ")[0].split()[-1][:1]
            self._said = level + b" =%d\n" % WINDOW_MS
        return alter(fault, text, self._random)

    def volts(self) -> float:
        """Return what a converter sees of the wire."""
        fault = self._plan.fault(self._name)
        if fault == "zeros":
            return 0.0
        return self._part.supply_v if fault == "ones" else self._part.volts()

    def close(self) -> None:
        """Do nothing: the wire stays."""
