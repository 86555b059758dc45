"""Words with CRC: what is spelled is read back, and nothing else is let through."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers.kit.steps import CrcError, LengthError, ShortError
from cabinvigil.drivers.kit.words import command, with_crc, words
from tests.wire import MODEST, outcome

WORD = st.integers(0, 0xFFFF)


@MODEST
@given(st.lists(WORD, max_size=5))
def test_read_back(values: list[int]) -> None:
    """What was spelled is read back, word by word."""
    spelled = b"".join(with_crc(value) for value in values)
    assert words(spelled, len(values)) == tuple(values)


@MODEST
@given(WORD, st.integers(0, 23))
def test_any_flipped_bit_is_found(value: int, bit: int) -> None:
    """One wrong bit in word or CRC is always found."""
    spelled = bytearray(with_crc(value))
    spelled[bit // 8] ^= 1 << bit % 8
    with pytest.raises(CrcError):
        words(bytes(spelled), 1)


@MODEST
@given(st.binary(max_size=12), st.integers(0, 3))
def test_total(reply: bytes, count: int) -> None:
    """Any bytes give words or one named error."""
    found = outcome(lambda: words(reply, count))
    assert found in ("value", "short", "length", "crc")


def test_lengths_are_told_apart() -> None:
    """Too few bytes are short, too many another length."""
    with pytest.raises(ShortError, match="2 bytes came where the reply has 3"):
        words(b"\0\0", 1)
    with pytest.raises(LengthError, match="4 bytes came where the reply has 3"):
        words(with_crc(1) + b"\0", 1)


def test_dead_lines_are_named() -> None:
    """All zero and all ff are told as wires, other errors with the word's number."""
    with pytest.raises(CrcError, match="held low"):
        words(bytes(6), 2)
    with pytest.raises(CrcError, match="is open"):
        words(b"\xff" * 6, 2)
    with pytest.raises(CrcError, match="checksum of word 2 is 00, its bytes 0002 give"):
        words(with_crc(1) + b"\0\2\0", 2)


def test_command_of_datasheet() -> None:
    """Pressure 98 700 Pa is `e0 00 03 db 42` (SCD4x v1.1, table 17)."""
    assert command(0xE000, 987) == bytes.fromhex("e00003db42")
