"""Register parts: sizes, identities and settings are told apart, dead lines named."""

import pytest

from cabinvigil.drivers.kit.registers import (
    check_identity,
    check_settings,
    read,
    signed16,
    sized,
)
from cabinvigil.drivers.kit.steps import (
    LengthError,
    NotMeasuredError,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import play


def test_read_is_one_transfer() -> None:
    """A register is named and read in one transfer, with no wait between."""
    assert (
        play(read(0x0F, 2, "id"), [(Transfer(b"\x0f", 2), b"\x01\x17")]) == b"\x01\x17"
    )


def test_sizes() -> None:
    """Too few bytes are short, too many another length."""
    with pytest.raises(ShortError, match="id: 1 bytes came where 2 are read"):
        sized(b"\0", 2, "id")
    with pytest.raises(LengthError):
        sized(b"\0\0\0", 2, "id")


@pytest.mark.parametrize(
    ("got", "words"),
    [(b"\x58", "reads 58"), (b"\x00", "held low"), (b"\xff", "is open")],
)
def test_identity(got: bytes, words: str) -> None:
    """Another identity is another part; an undriven line is named as such."""
    check_identity(b"\x60", b"\x60", "id")
    with pytest.raises(WrongPartError, match=words):
        check_identity(got, b"\x60", "id")


@pytest.mark.parametrize(
    ("got", "words"),
    [(b"\x12", "lost its settings"), (b"\x00", "was reset"), (b"\xff", "is open")],
)
def test_settings(got: bytes, words: str) -> None:
    """A setting that is not the one written means: not measured."""
    check_settings(b"\x60", b"\x60", "config")
    with pytest.raises(NotMeasuredError, match=words):
        check_settings(got, b"\x60", "config")


def test_signed() -> None:
    """Two's complement, high byte first."""
    assert signed16(b"\x80\x00") == -32768
    assert signed16(b"\x7f\xff") == 32767
