"""PMSA003I on a strict wire: the frame of its serial sister, read in one piece."""

import pytest

from cabinvigil.drivers import pm_frame, pmsa003i
from cabinvigil.drivers.kit.crc import sum16
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    LengthError,
    NotMeasuredError,
    OutOfRangeError,
    Sample,
    ShortError,
    Transfer,
)
from tests.wire import play

READ = Transfer(rx_len=32)


def frame(pm2_5: int = 8, pm10: int = 9, n0_3: int = 900) -> bytes:
    """Spell a frame; what a public library reads in it, test_supply_libraries.py."""
    words = (1, 2, 3, 5, pm2_5, pm10, n0_3, 260, 60, 8, 1, 0, 0x9700)
    body = b"\x42\x4d\x00\x1c" + b"".join(word.to_bytes(2, "big") for word in words)
    return body + sum16(body).to_bytes(2, "big")


def _poll(reply: bytes) -> list[Sample]:
    return play(pmsa003i.make({}).poll(), [(READ, reply)])


def test_setup_waits_for_the_fan_where_nothing_was_counted_yet() -> None:
    play(pmsa003i.make({}).setup(), [(READ, frame())])
    wait = (Transfer(delay_s=3.0), b"")
    play(pmsa003i.make({}).setup(), [(READ, frame(0, 0, 0)), wait])
    with pytest.raises(FramingError, match="begins with 0000"):
        play(pmsa003i.make({}).setup(), [(READ, bytes(32))])


@pytest.mark.parametrize("reading", [(8, 9, 900), (35, 60, 6000), (999, 999, 65535)])
def test_poll(reading: tuple[int, int, int]) -> None:
    """The values for the open air, as the serial part serves them."""
    found = _poll(frame(*reading))
    assert found == pm_frame.make({}).feed(frame(*reading))
    assert found == [
        Sample("pm2_5_ugm3", float(reading[0])),
        Sample("pm10_ugm3", float(reading[1])),
    ]


def test_mist_is_told() -> None:
    """Above 90 % humidity droplets count as dust."""
    part = pmsa003i.make({})
    part.inform("rh_pct", 97.0)
    found = play(part.poll(), [(READ, frame())])
    assert [one.quality for one in found] == ["outside-range"] * 2


def test_smoke() -> None:
    assert [s.quality for s in _poll(frame(1300, 2000))] == ["at-least"] * 2
    with pytest.raises(OutOfRangeError, match="65535"):
        _poll(frame(65535, 65535))


def test_standing_fan() -> None:
    with pytest.raises(NotMeasuredError, match="fan does not turn"):
        _poll(frame(0, 0, 0))


@pytest.mark.parametrize(
    ("reply", "error", "says"),
    [
        (frame()[:-1], ShortError, "31 bytes came where a frame has 32"),
        (b"\xff" * 32, FramingError, "begins with ffff, not 424d"),
        (b"\x42\x4d\x00\x14" + frame()[4:], LengthError, "states 20 bytes"),
        (frame()[:-2] + b"\0\0", CrcError, "the sum is 0000"),
    ],
)
def test_refused(reply: bytes, error: type[Exception], says: str) -> None:
    with pytest.raises(error, match=says):
        _poll(reply)


def test_identify() -> None:
    """By start, length and sum; a part that has counted nothing yet is one, too."""
    assert play(pmsa003i.identify(), [(READ, frame(0, 0, 0))])
    assert not play(pmsa003i.identify(), [(READ, bytes(32))])
