"""Reading register parts, which have no checksum: sizes, identities, settings."""

from collections.abc import Generator

from cabinvigil.drivers.kit.steps import (
    LengthError,
    NotMeasuredError,
    ShortError,
    Transfer,
    WrongPartError,
)

Bytes = Generator[Transfer, bytes, bytes]


def sized(reply: bytes, count: int, what: str) -> bytes:
    """Return the reply if it has `count` bytes.

    Raises:
        ShortError: fewer bytes came.
        LengthError: more bytes came.
    """
    if len(reply) < count:
        raise ShortError(f"{what}: {len(reply)} bytes came where {count} are read")
    if len(reply) > count:
        raise LengthError(f"{what}: {len(reply)} bytes came where {count} are read")
    return reply


def read(register: int, count: int, what: str, delay_s: float = 0.0) -> Bytes:
    """Read `count` bytes from a register on; `what` names it in errors."""
    reply = yield Transfer(bytes([register]), count, delay_s)
    return sized(reply, count, what)


def check_identity(got: bytes, want: bytes, what: str) -> None:
    """Check a register that shows what the part is.

    Raises:
        WrongPartError: it holds something else; an undriven line is told as such.
    """
    if got != want:
        raise WrongPartError(
            f"the {what} reads {got.hex()} where the sensor has "
            f"{want.hex()}{_line(got)}"
        )


def check_settings(got: bytes, want: bytes, what: str) -> None:
    """Check a register that this driver wrote.

    Raises:
        NotMeasuredError: it holds something else: the part was reset, or its line is
            dead (sensors.md, section 14, rows 10, 11 and 14).
    """
    if got != want:
        raise NotMeasuredError(
            f"the {what} reads {got.hex()} where {want.hex()} was "
            f"set{_line(got) or ': the sensor has lost its settings'}"
        )


def _line(got: bytes) -> str:
    if got and not any(got):
        return ": only zero bytes come, the line is held low or the sensor was reset"
    if got and all(byte == 0xFF for byte in got):
        return ": only ff bytes come, the data line is open"
    return ""


def signed16(word: bytes) -> int:
    """Read two bytes, high byte first, as a two's complement number."""
    return int.from_bytes(word, "big", signed=True)
