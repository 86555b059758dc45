"""Modbus on a serial line (RTU): asking for registers, and telling answers apart.

Source: the Modbus application protocol V1.1b3 and Modbus over serial line V1.02 (from
memory), held in tests against minimalmodbus.  Only what parts here need: reading some
registers, and setting one.
"""

from dataclasses import dataclass

from cabinvigil.drivers.kit.crc import crc16_modbus
from cabinvigil.drivers.kit.frames import FrameHunter
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    LengthError,
    ShortError,
    WrongPartError,
)

READ_HOLDING = 0x03
READ_INPUT = 0x04
WRITE_ONE = 0x06
REFUSED = 0x80
"""This bit on a function says that it is refused; a byte behind it says why."""
MOST_REGISTERS = 8
"""In one answer, of the parts here."""
HEAD = 3
"""Bytes by which an answer tells its length."""
LONGEST = HEAD + 2 * MOST_REGISTERS + 2


@dataclass(frozen=True, slots=True)
class ModbusAnswer:
    """What one answer says."""

    function: int
    words: tuple[int, ...]
    """Of a reading its registers; of a setting the register and its value."""


def spell(unit: int, function: int, register: int, word: int) -> bytes:
    """Format a question: how many registers to read, or what to set one to."""
    body = (
        bytes([unit, function]) + register.to_bytes(2, "big") + word.to_bytes(2, "big")
    )
    return body + crc16_modbus(body)


def size_of(head: bytes) -> int:
    """Return how many bytes an answer has, as far as its first ones tell.

    Raises:
        FramingError: no answer to what is asked here begins so.
    """
    if len(head) < HEAD:
        return HEAD
    function, count = head[1], head[2]
    if function in (READ_HOLDING | REFUSED, READ_INPUT | REFUSED, WRITE_ONE | REFUSED):
        return HEAD + 2
    if function == WRITE_ONE:
        return 8
    is_reading = function in (READ_HOLDING, READ_INPUT)
    if is_reading and count in range(2, 2 * MOST_REGISTERS + 1, 2):
        return HEAD + count + 2
    raise FramingError("bytes came that begin no reply")


def check(frame: bytes) -> None:
    """Check length and checksum.

    Raises:
        ShortError, LengthError: fewer or more bytes than it says.
        FramingError: no answer to what is asked here begins so.
        CrcError: the checksum does not fit.
    """
    size = size_of(frame)
    if len(frame) < size:
        raise ShortError(f"{len(frame)} bytes came where the reply has {size}")
    if len(frame) > size:
        raise LengthError(f"{len(frame)} bytes came where the reply has {size}")
    wanted = crc16_modbus(frame[:-2])
    if frame[-2:] != wanted:
        raise CrcError(
            f"the checksum is {frame[-2:].hex()}, its bytes give {wanted.hex()}"
        )


def hunter(unit: int) -> FrameHunter:
    """Make a hunter for the answers of this unit."""
    return FrameHunter(bytes([unit]), LONGEST, check, size_of)


def decode(frame: bytes) -> ModbusAnswer:
    """Decode an answer.

    Raises:
        DriverError: see `check`; WrongPartError where the part refuses the question.
    """
    check(frame)
    function = frame[1]
    if function & REFUSED:
        asked = function & ~REFUSED
        raise WrongPartError(f"it refuses function {asked}, for reason {frame[2]}")
    data = frame[2:-2] if function == WRITE_ONE else frame[HEAD:-2]
    words = (int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2))
    return ModbusAnswer(function, tuple(words))
