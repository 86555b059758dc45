"""The serial dust sensor: 32 bytes, the open-air values, a standing fan told."""

import pytest

from cabinvigil.drivers import pm_frame
from cabinvigil.drivers.kit.crc import sum16
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    LengthError,
    NotMeasuredError,
    OutOfRangeError,
    Sample,
)


def _frame(pm2_5: int = 8, pm10: int = 9, n0_3: int = 900) -> bytes:
    words = (1, 2, 3, 5, pm2_5, pm10, n0_3, 260, 60, 8, 1, 0, 0x9700)
    body = b"\x42\x4d\x00\x1c" + b"".join(word.to_bytes(2, "big") for word in words)
    return body + sum16(body).to_bytes(2, "big")


def test_streaming() -> None:
    """The values for the open air are served, not those for the factory's."""
    part = pm_frame.make({})
    assert part.request() == b""
    assert part.feed(_frame()[:11]) == []
    assert part.feed(_frame()[11:]) == [
        Sample("pm2_5_ugm3", 8.0),
        Sample("pm10_ugm3", 9.0),
    ]


def test_opening_wakes_and_starts() -> None:
    """Wake (e4) and active mode (e1) as a public library spells them.

    Their answers, of 8 bytes, are passed over like power-up noise.
    """
    part = pm_frame.make({})
    assert part.opening() == bytes.fromhex("424de400010174424de100010171")
    answer = bytes.fromhex("424d0004e1010175")
    assert len(part.feed(answer + _frame())) == 2


def test_standing_fan() -> None:
    """No air has not one particle."""
    with pytest.raises(NotMeasuredError, match="fan does not turn"):
        pm_frame.make({}).feed(_frame(0, 0, 0))


def test_other_length() -> None:
    """An older frame of 24 bytes is refused, not guessed at; the next one is found."""
    part = pm_frame.make({})
    part.feed(_frame())
    with pytest.raises(LengthError, match="states 20 bytes, this sensor 28"):
        part.feed(b"\x42\x4d\x00\x14" + bytes(20) + _frame())
    assert len(part.feed(b"")) == 2


def test_other_part_for_ever() -> None:
    """A sensor that only sends the older frame is told as such."""
    older = b"\x42\x4d\x00\x14" + bytes(20)
    with pytest.raises(FramingError, match="the frame states 20 bytes"):
        pm_frame.make({}).feed(older * 14)


@pytest.mark.parametrize(
    ("frame", "error", "says"),
    [
        (b"\x43" + _frame()[1:], FramingError, "begins with 434d, not 424d"),
        (_frame() + b"\0", LengthError, "33 bytes came where a frame has 32"),
        (_frame()[:-2] + b"\0\0", CrcError, "the sum is 0000, its bytes give"),
    ],
)
def test_decode_refuses(frame: bytes, error: type[Exception], says: str) -> None:
    """Start, size and sum each have their own error."""
    with pytest.raises(error, match=says):
        pm_frame.decode(frame)


def test_smoke() -> None:
    """From 1000 on the truth may be more; 65535 is no dust."""
    part = pm_frame.make({})
    assert [s.quality for s in part.feed(_frame(1300, 2000))] == ["at-least"] * 2
    with pytest.raises(OutOfRangeError, match="65535"):
        part.feed(_frame(65535, 65535))


def test_mist() -> None:
    """Above 90 % humidity the values are doubtful."""
    part = pm_frame.make({})
    part.inform("rh_pct", 95.0)
    assert {s.quality for s in part.feed(_frame())} == {"outside-range"}


def test_errors_never_repeat_a_value() -> None:
    """After a good frame, a spoilt one gives an error and nothing else."""
    part = pm_frame.make({})
    part.feed(_frame())
    with pytest.raises(CrcError):
        part.feed(_frame()[:-1] + b"\0")
    assert part.feed(b"") == []


def test_opening_forgets_half_a_frame() -> None:
    """After the port was opened again, the old half frame spoils nothing."""
    part = pm_frame.make({})
    part.feed(_frame() + _frame()[:9])
    part.opening()
    assert len(part.feed(_frame())) == 2
