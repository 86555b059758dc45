"""SPS30 on a strict wire: its own verdict is asked before its values."""

import struct

import pytest

from cabinvigil.drivers import sps30
from cabinvigil.drivers.kit import dust
from cabinvigil.drivers.kit.steps import (
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    Transfer,
)
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import Line, play

STOP: Line = (Transfer(b"\x01\x04", 0, 0.020), b"")
STATUS = Transfer(b"\xd2\x06", 6, 0.001)
WELL: Line = (STATUS, with_crc(0) * 2)
START: Line = (Transfer(b"\x00\x10" + with_crc(0x0300), 0, 0.020), b"")
ASK_READY = Transfer(b"\x02\x02", 3, 0.001)
READY: Line = (ASK_READY, with_crc(1))
READ = Transfer(b"\x03\x00", 60, 0.001)


def _frame(*values: float) -> bytes:
    raw = struct.pack(">10f", *values)
    return b"".join(
        with_crc(int.from_bytes(raw[at : at + 2])) for at in range(0, 40, 2)
    )


AIR = (5.2, 8.1, 9.4, 9.9, 30.5, 40.25, 41.5, 41.75, 41.9, 0.48)


def test_setup_and_poll() -> None:
    """Stopped from any state, started in floats; then two masses are served."""
    part = sps30.make({})
    play(part.setup(), [STOP, WELL, START])
    found = play(part.poll(), [WELL, READY, (READ, _frame(*AIR))])
    assert [(s.quantity, round(s.value, 1)) for s in found] == [
        ("pm2_5_ugm3", 8.1),
        ("pm10_ugm3", 9.9),
    ]


@pytest.mark.parametrize(
    ("high", "low", "words"),
    [
        (0, 1 << 4, "fan is blocked"),
        (0, 1 << 5, "laser fails"),
        (1 << 5, 0, "keep its speed"),
    ],
)
def test_own_verdict(high: int, low: int, words: str) -> None:
    """Bits 4, 5 and 21 of the status tell fan, laser and speed: no value is read."""
    status = (STATUS, with_crc(high) + with_crc(low))
    with pytest.raises(NotMeasuredError, match=words):
        play(sps30.make({}).poll(), [status])


@pytest.mark.parametrize("flag", [0x0000, 0x0100])
def test_flag_is_obeyed(flag: int) -> None:
    """Without a new measurement the old one is not served again."""
    with pytest.raises(NotReadyError):
        play(sps30.make({}).poll(), [WELL, (ASK_READY, with_crc(flag))])


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_no_amounts(bad: float) -> None:
    """Floats that are not amounts are refused, wherever they stand."""
    for at in range(10):
        values = [*AIR[:at], bad, *AIR[at + 1 :]]
        with pytest.raises(OutOfRangeError, match="not amounts"):
            sps30.decode(_frame(*values))


def test_masses_rise_with_size() -> None:
    """Dust up to 10 µm holds the dust up to 2.5 µm; otherwise the part lies."""
    lying = sps30.Sps30Reading(*AIR[:3], 8.0, *AIR[4:])
    with pytest.raises(OutOfRangeError, match="less dust"):
        sps30.samples(lying, dust.conditions())


def test_mist() -> None:
    """Above 90 % humidity the values are doubtful."""
    part = sps30.make({})
    part.inform("rh_pct", 95.0)
    found = play(part.poll(), [WELL, READY, (READ, _frame(*AIR))])
    assert {s.quality for s in found} == {"outside-range"}


def test_identify() -> None:
    """The status register's checksums tell the part."""
    assert play(sps30.identify(), [WELL])
    assert not play(sps30.identify(), [(STATUS, bytes(6))])
