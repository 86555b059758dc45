"""The words for what fails on a wire, when it fails, and what becomes of the bytes.

| word | what happens |
| --- | --- |
| drop | a fifth of the transfers on I2C get no answer; each frame loses a byte |
| flip | one bit of each answer or frame is turned over |
| truncate | each answer or frame breaks off |
| stall | the part holds the clock too long, or falls silent |
| hold | a line of the bus is held low: every address is dead |
| vanish | the part is unplugged, and comes back without its settings |
| unplug | the serial adapter is unplugged, and its port with it |
| identity | another part answers in its place |
| reset | the part loses its settings once, at the beginning |
| noise | power-up: junk and half frames first |
| split, merge | frames come in two halves, or three at once |
| stick | the last answer or frame is repeated for ever |
| babble | nonsense, as much as the line carries |
| zeros, ones | the line reads low, or open |
"""

from collections.abc import Sequence
from random import Random
from typing import Protocol

from cabinvigil.daemon.rehearsal.emulated.ways import Now

WHOLE_BUS = "bus"
"""In place of a part's name: every part on I2C."""

I2C_FAULTS = frozenset(
    {
        *("drop", "flip", "truncate", "stall", "hold", "vanish", "identity"),
        *("reset", "stick", "babble", "zeros", "ones"),
    }
)
SERIAL_FAULTS = frozenset(
    {
        *("drop", "flip", "truncate", "stall", "vanish", "unplug", "identity"),
        *("reset", "noise", "split", "merge", "stick", "babble", "zeros", "ones"),
    }
)
FILE_FAULTS = frozenset(
    {"flip", "truncate", "stall", "vanish", "stick", "zeros", "ones"}
)
LINE_FAULTS = frozenset({"truncate", "vanish", "stick", "babble", "zeros", "ones"})


class FaultSpan(Protocol):
    """A fault for a while; `nights.Failure` is one."""

    @property
    def from_s(self) -> float:
        """When it begins."""
        ...

    @property
    def to_s(self) -> float:
        """When it ends."""
        ...

    @property
    def part(self) -> str:
        """The part's name in the config, or `bus`."""
        ...

    @property
    def fault(self) -> str:
        """A word of `I2C_FAULTS`, `SERIAL_FAULTS`, `FILE_FAULTS` or `LINE_FAULTS`."""
        ...


class FaultPlan:
    """The faults of some parts on one wire, and their beginnings and ends."""

    def __init__(
        self,
        spans: Sequence[FaultSpan],
        names: frozenset[str],
        known: frozenset[str],
        now: Now,
    ) -> None:
        """Keep the spans of these parts.

        Args:
            spans: the faults, those of other wires among them.
            names: of the parts on this wire.
            known: the words that this wire knows.
            now: the present in seconds.

        Raises:
            ValueError: a word that it does not.
        """
        self.spans = [span for span in spans if span.part in names]
        for span in self.spans:
            if span.fault not in known:
                msg = (
                    f"the fault {span.fault!r} of {span.part} is not one of this "
                    f"wire: use one of {', '.join(sorted(known))}"
                )
                raise ValueError(msg)
        self._now = now
        self._was: dict[str, str] = {}

    def fault(self, name: str) -> str:
        """Return the word of the fault that holds now, '' if none."""
        now_s = self._now()
        for span in self.spans:
            if span.part == name and span.from_s <= now_s < span.to_s:
                return span.fault
        return ""

    def change(self, name: str) -> tuple[str, str]:
        """Return the fault that held when last asked, and the one that holds now."""
        was, now = self._was.get(name, ""), self.fault(name)
        self._was[name] = now
        return was, now


def flip(data: bytes, random: Random) -> bytes:
    """Turn one bit over."""
    if not data:
        return data
    bit = random.randrange(len(data) * 8)
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


def lose(data: bytes, random: Random) -> bytes:
    """Lose one byte."""
    at = random.randrange(len(data)) if data else 0
    return data[:at] + data[at + 1 :]


def cut(data: bytes, random: Random) -> bytes:
    """Break off somewhere."""
    return data[: random.randrange(len(data))] if data else data


def alter(fault: str, data: bytes, random: Random) -> bytes:
    """Return what a fault that touches the bytes alone makes of them."""
    if fault == "flip":
        return flip(data, random)
    if fault == "truncate":
        return cut(data, random)
    if fault == "babble":
        return random.randbytes(len(data))
    if fault == "zeros":
        return bytes(len(data))
    if fault == "ones":
        return b"\xff" * len(data)
    return data
