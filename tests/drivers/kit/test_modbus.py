"""Modbus frames: spelled, checked, and found in any chunking."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers.kit import modbus
from cabinvigil.drivers.kit.crc import crc16_modbus
from cabinvigil.drivers.kit.frames import Found
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    LengthError,
    ShortError,
    WrongPartError,
)
from tests.wire import MODEST, outcome

FOUR = bytes.fromhex("fe0408000000000000019016e6")
ONE = bytes.fromhex("fe030200b4ac27")
ECHO = bytes.fromhex("fe06001f0000ac03")
NO = bytes.fromhex("fe8402f2f1")


def test_questions() -> None:
    """As public drivers send them."""
    assert modbus.spell(0xFE, 0x04, 0, 4) == bytes.fromhex("fe0400000004e5c6")
    assert modbus.spell(0xFE, 0x06, 0x1F, 0xB4) == bytes.fromhex("fe06001f00b4ac74")
    assert modbus.spell(0x01, 0x03, 0x0102, 0x0304)[:6] == bytes.fromhex("010301020304")


@pytest.mark.parametrize(
    ("frame", "function", "words"),
    [
        (FOUR, 0x04, (0, 0, 0, 400)),
        (ONE, 0x03, (180,)),
        (ECHO, 0x06, (0x1F, 0)),
    ],
)
def test_answers(frame: bytes, function: int, words: tuple[int, ...]) -> None:
    """Each tells its length by its first bytes."""
    assert modbus.decode(frame) == modbus.ModbusAnswer(function, words)
    assert modbus.size_of(frame) == modbus.size_of(frame[:3]) == len(frame)
    assert modbus.size_of(frame[:2]) == modbus.size_of(b"") == 3
    for wrong, error in (
        (frame[:-1], ShortError),
        (frame + b"\0", LengthError),
        (frame[:-1] + bytes([frame[-1] ^ 1]), CrcError),
        (frame[:-2] + bytes([frame[-2] ^ 1]) + frame[-1:], CrcError),
    ):
        with pytest.raises(error):
            modbus.decode(wrong)


def test_a_wrong_checksum_is_said_beside_the_right_one() -> None:
    with pytest.raises(CrcError, match=r"^the checksum is 16e7, its bytes give 16e6$"):
        modbus.decode(FOUR[:-1] + b"\xe7")


def test_refusals() -> None:
    """They name the function that was refused, and why."""
    with pytest.raises(WrongPartError, match="refuses function 4, for reason 2"):
        modbus.decode(NO)
    for function in (0x83, 0x84, 0x86):
        assert modbus.size_of(bytes([0xFE, function, 1])) == 5


@pytest.mark.parametrize(
    "head",
    ["fe0400", "fe0403", "fe0412", "fe0300", "fe0502", "fe1002", "fe8502", "fe00ff"],
)
def test_what_begins_no_answer(head: str) -> None:
    """No registers, half of one, more than are ever asked for, or other functions."""
    with pytest.raises(FramingError, match="begin no reply"):
        modbus.size_of(bytes.fromhex(head))
    assert modbus.size_of(bytes.fromhex("fe0410")) == modbus.LONGEST == 21


def _all(data: bytes, cut: int) -> list[Found]:
    hunter = modbus.hunter(0xFE)
    return [
        item
        for at in range(0, len(data), cut)
        for item in hunter.feed(data[at : at + cut])
    ]


def test_frames_of_several_sizes_follow_each_other() -> None:
    """Each ends where the next begins."""
    assert _all(ONE + FOUR + ECHO + NO + ONE, 1) == [ONE, FOUR, ECHO, NO, ONE]


def test_a_short_frame_behind_a_long_false_start_is_found_at_once() -> None:
    """What began like one of 21 bytes holds whole ones by the time that it fails."""
    false = b"\xfe\x04\x10"
    found = _all(false + ONE + ONE + ONE, 1)
    assert [item for item in found if isinstance(item, bytes)] == [ONE, ONE, ONE]


@MODEST
@given(
    st.lists(
        st.sampled_from([ONE, FOUR, ECHO, NO]) | st.binary(max_size=9), max_size=7
    ),
    st.integers(1, 30),
)
def test_any_bytes_give_the_same_in_any_chunks(pieces: list[bytes], cut: int) -> None:
    """Frames that pass their check, in their order, or errors that are named."""
    data = b"".join(pieces)
    frames = [item for item in _all(data, cut) if isinstance(item, bytes)]
    assert frames == [item for item in _all(data, 1) if isinstance(item, bytes)]
    for frame in frames:
        assert frame[-2:] == crc16_modbus(frame[:-2])
        assert outcome(lambda frame=frame: modbus.decode(frame)) in (
            "value",
            "wrong_part",
        )


@MODEST
@given(st.binary(max_size=24))
def test_decoding_is_total(data: bytes) -> None:
    """Any bytes end in an answer or in one named error."""
    assert outcome(lambda: modbus.decode(data)) != "driver"
