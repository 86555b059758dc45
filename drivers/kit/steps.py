"""What a driver says to its shell: transfers to make, samples read, and what failed.

A polled part is a generator that yields `Transfer` and is sent the reply's bytes;
a streaming part has `feed(bytes) -> list[Sample]`.  Neither knows a bus or a clock.
"""

import math
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal, Protocol

Quality = Literal["good", "at-least", "outside-range"]
"""good; at-least: the part is at full scale, the true value is this or more;
outside-range: the part works outside its specified conditions and may be blind."""


@dataclass(frozen=True, slots=True)
class Transfer:
    """One exchange on an I2C bus.

    With both `tx` and `rx_len` and no delay the shell makes one write-then-read with
    repeated start (register parts); with a delay, a write, a wait, then a read
    (command parts, which refuse their address while busy).
    """

    tx: bytes = b""
    """Bytes to write; empty writes nothing."""
    rx_len: int = 0
    """Bytes to read; 0 reads nothing and the reply sent back is b''."""
    delay_s: float = 0.0
    """Wait after the write, in seconds."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One value that a part gave."""

    quantity: str
    """A key of `QUANTITIES`."""
    value: float
    """In the quantity's unit, not clamped."""
    quality: Quality = "good"
    reason: str = ""
    """Why the quality is not good, as a clause for people."""


class DriverError(Exception):
    """What a part said cannot be used; `code` says which of the known ways."""

    code: ClassVar[str] = "driver"


class ShortError(DriverError):
    """Fewer bytes came than the answer has."""

    code = "short"


class CrcError(DriverError):
    """A checksum does not fit its bytes."""

    code = "crc"


class FramingError(DriverError):
    """Bytes do not form the frame or line that the part sends."""

    code = "framing"


class LengthError(DriverError):
    """A frame states a length that this part never sends."""

    code = "length"


class NotMeasuredError(DriverError):
    """The part answers, but has not measured (asleep, reset, skipped)."""

    code = "not_measured"


class NotReadyError(DriverError):
    """No new measurement yet; the shell asks again and counts how often."""

    code = "not_ready"


class WrongPartError(DriverError):
    """Another part, or the wrong gas, answers."""

    code = "wrong_part"


class OutOfRangeError(DriverError):
    """The value cannot be, whatever the air is."""

    code = "out_of_range"


class CellDeadError(DriverError):
    """A cell gives no usable output: dead, dry, or its wire is open."""

    code = "cell_dead"


class WireOpenError(DriverError):
    """The wire to a contact is cut, or its plug is out."""

    code = "wire_open"


class WireShortError(DriverError):
    """The two leads of the wire to a contact touch."""

    code = "wire_short"


class WireLooseError(DriverError):
    """The wire to a contact comes and goes."""

    code = "wire_loose"


class CalibrationError(DriverError):
    """A calibration that was asked for did not take."""

    code = "frc_failed"


Steps = Generator[Transfer, bytes, list[Sample]]
"""One poll of a part: yields transfers, is sent replies, returns samples."""
Setup = Generator[Transfer, bytes, None]
"""The part's start-up or re-start: idempotent, from any state the part may be in."""


class PolledPart(Protocol):
    """A part on I2C, asked at its interval."""

    def setup(self) -> Setup:
        """Bring the part into its measuring mode, and check that it is the part."""
        ...

    def poll(self) -> Steps:
        """Read one set of samples."""
        ...

    def inform(self, quantity: str, value: float) -> None:
        """Take another part's value (pressure, temperature) for compensation.

        NaN: it has not been known for long, and what was told before is void.
        """
        ...


class StreamPart(Protocol):
    """A part on a serial line."""

    def opening(self) -> bytes:
        """Bytes to send when the port has been opened (may be empty)."""
        ...

    def request(self) -> bytes:
        """Bytes to send once an interval (empty for a part that streams alone)."""
        ...

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking.

        Raises:
            DriverError: the first thing wrong since the last call; what was good
                before it is kept and returned by the next call, so a caller may go
                on feeding.
        """
        ...

    def inform(self, quantity: str, value: float) -> None:
        """Take another part's value (pressure, temperature) for compensation.

        NaN: it has not been known for long, and what was told before is void.
        """
        ...


@dataclass(frozen=True, slots=True)
class Gives:
    """What is known beforehand of one quantity that a part gives."""

    resolution: float
    """Smallest step of the value, in its unit."""
    noise: float
    """Standard deviation at rest, in its unit."""
    lag_s: float
    """First-order lag (63 %), in seconds."""
    stuck_s: float
    """Identical values for longer than this mean a stuck part, in still air too."""
    jump_per_s: float
    """Faster change than this cannot be air; one such value alone is not believed."""
    top: float = math.inf
    """The end of the part's own range, where its value stands still; inf: not known, or
    the part's samples say so themselves (`at-least`)."""
    off_per_k_min: float = 0.0
    """So far a value may be off for each kelvin a minute that its temperature runs."""
    accuracy: float = 0.0
    """So far off its maker lets a value be, in its unit; 0: no figure was found."""
    settles: float = 0.0
    """So far a value may move, in its unit, while the part warms up and the air stands;
    what is left of it grows less with the warm-up."""
    made_up_s: float = 0.0
    """For so long after power-up a value may be made up by the part; 0: it is not."""


def _never(_options: Mapping[str, Any]) -> bool:
    return False


def _nothing(_options: Mapping[str, Any]) -> frozenset[str]:
    return frozenset()


def _no_steps(_options: Mapping[str, Any]) -> Mapping[str, float]:
    return {}


def _whole(_options: Mapping[str, Any]) -> frozenset[str] | None:
    return None


@dataclass(frozen=True, slots=True)
class PartInfo:
    """The registry's entry of one part."""

    name: str
    """The word in the config: `kind = "scd4x"`."""
    title: str
    """What people call the part, for texts."""
    bus: Literal["i2c", "serial", "file", "line"]
    """file: a kernel interface read as text (1-wire); line: a GPIO, whose wire may be
    watched by a converter on I2C."""
    gives: Mapping[str, Gives]
    """By quantity."""
    make: Callable[[Mapping[str, Any]], Any]
    """Make the codec from the config's options; ValueError says which is wrong."""
    interval_s: float
    """How often to poll or request; for a stream, how often it sends."""
    max_age_s: float
    """A value older than this is stale."""
    warm_up_s: float
    """Values before this, after power-up, are not trusted to say 'safe'."""
    start_up_s: float = 1.2
    """After it got its power it may not answer for so long (1.2 s: those that need no
    second of their own, and the SCD4x with its 1 s, v1.3 p. 7)."""
    address: int = 0
    """Default I2C address, 7 bit."""
    addresses: tuple[int, ...] = ()
    """Every address the part can have."""
    baud: int = 9600
    question: bytes = b""
    """On a serial line: what a scan may send to a silent port to hear whether it is
    this part; it changes nothing."""
    needs: tuple[str, ...] = ()
    """Quantities the part wants from another part."""
    options: Mapping[str, str] = field(default_factory=dict)
    """Option keys that `make` takes, each with its one-line meaning."""
    service_years: float = 0.0
    """Life after which the part is past service; 0 where it does not wear."""
    range_c: tuple[float, float] = (-40.0, 85.0)
    """Air temperatures in which its maker specifies it."""
    sisters: Mapping[int, Mapping[bytes, str]] = field(default_factory=dict)
    """Look-alikes at its addresses: by identity register, their answers and names."""
    says_what: Callable[[Mapping[str, Any]], bool] = _never
    """From its options: whether each message says what it measures.  On a serial line
    a part that does not is refused a port whose name may pass to another adapter,
    since its number would be taken for another gas."""
    leaves_out: Callable[[Mapping[str, Any]], frozenset[str]] = _nothing
    """From its options: which of what it `gives` it does not."""
    steps: Callable[[Mapping[str, Any]], Mapping[str, float]] = _no_steps
    """From its options: the resolution of a quantity, where they set another than
    `gives` has; ValueError says which is wrong."""
    inputs: Callable[[Mapping[str, Any]], frozenset[str] | None] = _whole
    """From its options: which inputs of the chip at its address are its own, so that
    another part may have the others; None: the whole chip is."""
