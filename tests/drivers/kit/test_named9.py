"""Answers that name their gas: framing, sum and decimals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers.kit import named9
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    LengthError,
    ShortError,
    WrongPartError,
)
from tests.wire import MODEST, outcome

GOOD = bytes.fromhex("ff8600230400025851")


@pytest.mark.parametrize(
    ("frame", "error", "words"),
    [
        (GOOD[:8], ShortError, "8 bytes came where a frame has 9"),
        (GOOD + b"\0", LengthError, "10 bytes came where a frame has 9"),
        (b"\xfe" + GOOD[1:], FramingError, "begins with fe, not ff"),
        (GOOD[:8] + b"\x52", CrcError, "is 52, its bytes give 51"),
        (bytes.fromhex("ff780100000000" + "0087"), WrongPartError, "78, a reply has"),
        (bytes.fromhex("ff8600230404025851")[:8] + b"\x4d", FramingError, "4 decimals"),
    ],
)
def test_what_is_no_answer(frame: bytes, error: type[Exception], words: str) -> None:
    """Each by its own name."""
    with pytest.raises(error, match=words):
        named9.decode(frame)


def test_the_gases_are_those_of_the_public_drivers() -> None:
    """Codes as DFRobot_MultiGasSensor.h has them; CO has its own."""
    codes = {
        "hydrogen sulphide": 3, "ammonia": 2, "oxygen": 5, "hydrogen": 6,
        "ozone": 42, "sulphur dioxide": 43, "nitrogen dioxide": 44,
        "hydrogen chloride": 46, "chlorine": 49, "hydrogen fluoride": 51,
        "phosphine": 69,
    }  # fmt: skip
    assert {words: code for code, words in named9.GASES.items()} == codes
    assert named9.CO == 4


def test_an_answer() -> None:
    """Gas 04, 35 counts, of 1 ppm each; the eighth byte is no matter."""
    assert named9.decode(GOOD) == named9.NamedAnswer(4, 35, 1.0)
    assert named9.decode(GOOD[:7] + b"\xa7" + GOOD[8:]) == named9.decode(GOOD)


@MODEST
@given(st.binary(min_size=8, max_size=10))
def test_it_is_total(frame: bytes) -> None:
    """Any bytes give an answer or one named error."""
    outcome(lambda: named9.expect_co(named9.decode(frame)))


@MODEST
@given(st.integers(0, 8), st.integers(0, 7))
def test_a_flipped_bit_is_seen_where_it_matters(byte: int, bit: int) -> None:
    """In every byte but the one that no sum covers, and that is not read."""
    flipped = bytearray(GOOD)
    flipped[byte] ^= 1 << bit
    if byte == 7:
        assert named9.decode(bytes(flipped)) == named9.decode(GOOD)
    else:
        assert outcome(lambda: named9.decode(bytes(flipped))) != "value"
