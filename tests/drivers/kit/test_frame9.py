"""The 9-byte frames, against the examples that the manuals print."""

from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers.kit import frame9
from cabinvigil.drivers.kit.steps import (
    CrcError,
    DriverError,
    FramingError,
    LengthError,
    ShortError,
    WrongPartError,
)
from tests.wire import MODEST, outcome

CODES = ("value", "short", "length", "framing", "crc", "wrong_part")
# 0.0 ppm of a 500.0 ppm CO module: gas 04, unit 03, one decimal.
CLEAN_AIR = bytes.fromhex("ff040301000013885d")


def _framed(*body: int) -> bytes:
    return frame9.spell(0)[:1] + bytes(body) + bytes([-sum(body) & 0xFF])


def test_printed_commands() -> None:
    """86 and 78 41 are printed (ZE07-CH2O p. 5, table 7; ZE07-CO p. 5, table 5)."""
    assert frame9.spell(0x86) == bytes.fromhex("ff0186000000000079")
    assert frame9.spell(0x78, 0x41) == bytes.fromhex("ff0178410000000046")


def test_printed_answer() -> None:
    """An answer is printed with its checksum, 30 (ZE07-CH2O p. 5, table 8)."""
    assert frame9.answer_value(bytes.fromhex("ff86002a0000002030")) == 42


@pytest.mark.parametrize(
    ("frame", "error"),
    [
        (CLEAN_AIR[:8], ShortError),
        (CLEAN_AIR + b"\0", LengthError),
        (b"\xfe" + CLEAN_AIR[1:], FramingError),
        (CLEAN_AIR[:8] + b"\0", CrcError),
    ],
)
def test_each_fault_is_told_apart(frame: bytes, error: type[DriverError]) -> None:
    """Size, start and checksum each have their own error."""
    with pytest.raises(error):
        frame9.check(frame)


def test_upload_scale_is_read_not_assumed() -> None:
    """The decimals in the frame scale value and range."""
    upload = frame9.decode_upload(_framed(4, 3, 2, 0x01, 0x5E, 0x13, 0x88))
    assert (upload.value, upload.full_scale, upload.step) == (3.5, 50.0, 0.01)


@pytest.mark.parametrize("body", [(4, 3, 4, 0, 1, 0, 9), (4, 3, 1, 0, 1, 0, 0)])
def test_impossible_uploads(body: tuple[int, ...]) -> None:
    """Four decimals, or a range that ends at 0, are no frame of such a module."""
    with pytest.raises(FramingError, match="the frame claims"):
        frame9.decode_upload(_framed(*body))


def test_gas_and_unit() -> None:
    """Another gas or unit is another module on the port."""
    upload = frame9.decode_upload(CLEAN_AIR)
    frame9.expect_gas(upload, 4, 3, "CO")
    with pytest.raises(WrongPartError, match="gas code is 04, one for O2 sends 05"):
        frame9.expect_gas(upload, 5, 3, "O2")
    with pytest.raises(WrongPartError, match="unit code is 03"):
        frame9.expect_gas(upload, 4, 4, "CO")


def test_answer_to_something_else() -> None:
    """An upload frame is no answer."""
    with pytest.raises(WrongPartError, match="second byte is 04"):
        frame9.answer_value(CLEAN_AIR)


@MODEST
@given(st.binary(max_size=12))
def test_total(frame: bytes) -> None:
    """Any bytes give a value or one named error."""
    for decode in (frame9.decode_upload, frame9.answer_value):
        assert outcome(partial(decode, frame)) in CODES
