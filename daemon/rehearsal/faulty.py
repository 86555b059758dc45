"""Emulated parts on I2C, and behind a kernel file, that fail as real ones do."""

import errno
import os
from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import Any

from cabinvigil.daemon.rehearsal.emulated.ds18b20 import w1_text
from cabinvigil.daemon.rehearsal.emulated.ways import I2cPart, Now
from cabinvigil.daemon.rehearsal.faults import (
    FILE_FAULTS,
    I2C_FAULTS,
    WHOLE_BUS,
    FaultPlan,
    FaultSpan,
    alter,
    flip,
)
from cabinvigil.daemon.rehearsal.wires import I2C_READ, EmulatedSMBus, TextPart, fill

DROP_SHARE = 0.2
"""Of the transfers on I2C that `drop` leaves without an answer; our choice."""
# What the Pi's controller gives (sensors.md, section 14).
_ERRNO = {
    "hold": errno.ETIMEDOUT,
    "stall": errno.EIO,
    "vanish": errno.EREMOTEIO,
    "drop": errno.EREMOTEIO,
}


class Stranger:
    """A part of another kind at a part's address: registers that mean nothing to us."""

    def __init__(self, seed: int) -> None:
        """Fill its registers."""
        self._memory = Random(seed).randbytes(256)
        self._pointer = 0

    def write(self, data: bytes) -> None:
        """Take the first byte for a pointer."""
        if data:
            self._pointer = data[0]

    def read(self, length: int) -> bytes:
        """Read on from the pointer."""
        return (self._memory * 2)[self._pointer : self._pointer + length]

    def power_up(self) -> None:
        """Point at the first register."""
        self._pointer = 0


class FaultySMBus:
    """An emulated I2C bus on which parts fail; offers the same calls."""

    def __init__(
        self,
        bus: EmulatedSMBus,
        addresses: Mapping[str, int],
        spans: Sequence[FaultSpan],
        seed: int,
        now: Now,
        *,
        strangers: Mapping[str, I2cPart] | None = None,
    ) -> None:
        """Wrap a bus.

        Args:
            bus: with all its parts attached.
            addresses: by the parts' names.
            spans: the faults, those of other wires among them.
            seed: of what is drawn.
            now: the present in seconds.
            strangers: what comes in a part's place under `identity`, by its name.

        Raises:
            ValueError: a fault that I2C does not have.
        """
        self._bus = bus
        self._addresses = addresses
        names = frozenset(addresses) | {WHOLE_BUS}
        self._plan = FaultPlan(spans, names, I2C_FAULTS, now)
        self._random = Random(seed)
        self._strangers = dict(strangers or {})
        self._seed = seed
        self._away: dict[str, I2cPart] = {}
        self._written: dict[int, bytes] = {}
        self._said: dict[tuple[int, bytes], bytes] = {}

    def i2c_rdwr(self, *i2c_msgs: Any) -> None:
        """Carry out messages as the wrapped bus does, with the faults of now."""
        address = int(i2c_msgs[0].addr)
        fault = self._fault_at(address)
        self._refuse(fault)
        self._bus.i2c_rdwr(*i2c_msgs)
        for message in i2c_msgs:
            if not message.flags & I2C_READ:
                self._written[address] = bytes(message)
                continue
            key = (address, self._written.get(address, b""))
            if fault == "stick" and key in self._said:
                fill(message, self._said[key])
            elif fault:
                data = alter(fault, bytes(message), self._random)
                fill(message, data.ljust(message.len, b"\0"))
            else:
                self._said[key] = bytes(message)

    def close(self) -> None:
        """Close the wrapped bus."""
        self._bus.close()

    def keep_time(
        self, call_at: Callable[[float, Callable[[str], None], str], Any]
    ) -> None:
        """Let faults begin and end at their moments, not when a part is next asked.

        Args:
            call_at: the loop's own; what it returns is dropped.
        """
        for span in self._plan.spans:
            call_at(span.from_s, self._turn, span.part)
            call_at(span.to_s, self._turn, span.part)

    def _fault_at(self, address: int) -> str:
        """Return the fault that holds at an address; let begin and end what does."""
        self._turn(WHOLE_BUS)
        found = self._plan.fault(WHOLE_BUS)
        for name, at in self._addresses.items():
            self._turn(name)
            if at == address and not found:
                found = self._plan.fault(name)
        # One part that holds the line takes all the others with it.
        if any(self._plan.fault(name) == "hold" for name in self._addresses):
            return "hold"
        return found

    def _refuse(self, fault: str) -> None:
        """Fail as the kernel does, where the fault is of that kind."""
        if fault == "drop" and self._random.random() >= DROP_SHARE:
            return
        if fault in _ERRNO:
            raise OSError(_ERRNO[fault], os.strerror(_ERRNO[fault]))

    def _turn(self, name: str) -> None:
        """Do what a fault does at its beginning and at its end."""
        was, now = self._plan.change(name)
        if was == now:
            return
        everyone = list(self._addresses) if name == WHOLE_BUS else [name]
        for part in everyone:
            if was == "identity":
                self._bus.attach(self._addresses[part], self._away.pop(part))
            if was in ("identity", "vanish") or now == "reset":
                self._bus.power_up(self._addresses[part])
            if now == "identity":
                stranger = self._strangers.get(part) or Stranger(self._seed)
                self._away[part] = self._bus.swap(self._addresses[part], stranger)


class FaultyText:
    """A part behind the kernel's file whose text fails."""

    def __init__(
        self, name: str, part: TextPart, spans: Sequence[FaultSpan], seed: int, now: Now
    ) -> None:
        """Wrap a part; arguments as for `faulty_serial.FaultySerialPart`."""
        self._name, self._part = name, part
        self._plan = FaultPlan(spans, frozenset({name}), FILE_FAULTS, now)
        self._random = Random(seed)
        self._said = b""

    def power_up(self) -> None:
        """Power the part up."""
        self._part.power_up()

    def text(self) -> bytes:
        """Return the file's text.

        Raises:
            FileNotFoundError: the part has vanished, and its file with it.
        """
        was, fault = self._plan.change(self._name)
        if was == "vanish" and not fault:
            self._part.power_up()
        if fault == "vanish":
            raise FileNotFoundError(self._name)
        if fault == "stall":
            return b""
        if fault in ("zeros", "ones"):
            return w1_text(alter(fault, bytes(9), self._random))
        text = self._part.text()
        if fault == "stick":
            return self._said or text
        if fault == "flip":
            # A flipped bit on the wire is seen by the kernel's own check.
            pad = bytes.fromhex(text.split(b":")[0].decode())
            return w1_text(flip(pad, self._random))
        if not fault:
            self._said = text
        return alter(fault, text, self._random)
