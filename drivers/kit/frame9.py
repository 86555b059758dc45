"""The 9-byte frames that begin with ff: commands, answers, and frames sent unasked.

Source: module manuals' protocol pages (ZE07-CO v1.2, p. 5, tables 5 to 8), sensors.md
section 12.
"""

from dataclasses import dataclass

from cabinvigil.drivers.kit.crc import complement8
from cabinvigil.drivers.kit.frames import FrameHunter
from cabinvigil.drivers.kit.steps import (
    CellDeadError,
    CrcError,
    FramingError,
    LengthError,
    ShortError,
    WrongPartError,
)

START = 0xFF
SIZE = 9
READ = 0x86
"""The command that asks for the value, and the second byte of its answer."""
ACKNOWLEDGED = frozenset({0x78, 0x79, 0x87, 0x88, 0x99})
"""Second bytes of answers that only repeat a setting command (unverified: some
modules send them, some do not); they carry no value."""
FAULT = 0x8000
"""The topmost bit of a value, by which some families say that their cell has failed (a
public driver quotes three modules' manuals: only the low five bits of the byte are
value there): never a gas, where the range ends below it."""
FAILED = "the module says itself that its cell has failed: replace it"
MOST_DECIMALS = 3
"""More decimals than this no gas module has: the byte is something else (own limit)."""


def spell(code: int, *values: int) -> bytes:
    """Format a command frame: `ff 01 code`, up to five value bytes, checksum."""
    body = bytes([0x01, code, *values]).ljust(SIZE - 2, b"\0")
    return bytes([START]) + body + bytes([complement8(body)])


def check(frame: bytes) -> None:
    """Check size, start byte and checksum.

    Raises:
        ShortError, LengthError: not nine bytes.
        FramingError: it does not begin with ff.
        CrcError: the checksum does not fit.
    """
    if len(frame) < SIZE:
        raise ShortError(f"{len(frame)} bytes came where a frame has {SIZE}")
    if len(frame) > SIZE:
        raise LengthError(f"{len(frame)} bytes came where a frame has {SIZE}")
    if frame[0] != START:
        raise FramingError(f"the frame begins with {frame[0]:02x}, not ff")
    wanted = complement8(frame[1:8])
    if frame[8] != wanted:
        raise CrcError(f"the checksum is {frame[8]:02x}, its bytes give {wanted:02x}")


def hunter() -> FrameHunter:
    """Make a hunter for these frames."""
    return FrameHunter(bytes([START]), SIZE, check)


@dataclass(frozen=True, slots=True)
class Upload:
    """A frame that a module sends by itself, once a second."""

    gas: int
    """The gas code: 04 CO, 05 O2 (the latter unverified)."""
    unit: int
    """The unit code: 03 ppm, 04 vol % for O2 (the latter unverified; a public driver
    reads 04 as ppb, for other gases: check it against the module's manual)."""
    value: float
    """In the unit."""
    full_scale: float
    """The module's range, in the unit."""
    step: float
    """The smallest step of the value."""


def decode_upload(frame: bytes) -> Upload:
    """Decode a frame sent unasked.

    Raises:
        DriverError: see `check`; FramingError for impossible decimals or range,
            CellDeadError where it says that its cell has failed.
    """
    check(frame)
    if frame[3] > MOST_DECIMALS:
        raise FramingError(f"the frame claims {frame[3]} decimals")
    if not any(frame[6:8]):
        raise FramingError("the frame claims a range that ends at 0")
    divisor = 10 ** frame[3]
    full_counts = int.from_bytes(frame[6:8], "big")
    return Upload(
        gas=frame[1],
        unit=frame[2],
        value=sound(int.from_bytes(frame[4:6], "big"), full_counts) / divisor,
        full_scale=full_counts / divisor,
        step=1 / divisor,
    )


def sound(counts: int, full_counts: float) -> int:
    """Return a value's counts, unless its topmost bit says that the cell has failed.

    Raises:
        CellDeadError: it does, in a range that ends below that bit.
    """
    if counts & FAULT and full_counts < FAULT:
        raise CellDeadError(FAILED)
    return counts


def expect_gas(upload: Upload, gas: int, unit: int, words: str) -> None:
    """Check that the frame is of the wanted gas in the wanted unit.

    Raises:
        WrongPartError: another module is on this port.
    """
    if upload.gas != gas:
        raise WrongPartError(
            f"the frame's gas code is {upload.gas:02x}, one for {words} sends {gas:02x}"
        )
    if upload.unit != unit:
        raise WrongPartError(
            f"the frame's unit code is {upload.unit:02x}, "
            f"one for {words} sends {unit:02x}"
        )


def answer_value(frame: bytes) -> int:
    """Return the raw value in the third and fourth byte of an answer to `READ`.

    Raises:
        DriverError: see `check`; WrongPartError for an answer to something else.
    """
    check(frame)
    if frame[1] != READ:
        raise WrongPartError(
            f"the frame's second byte is {frame[1]:02x}, a reply has {READ:02x}"
        )
    return int.from_bytes(frame[2:4], "big")
