"""SHT3x on a strict wire."""

import pytest

from cabinvigil.drivers import sht3x
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    NotMeasuredError,
    OutOfRangeError,
    Sample,
    ShortError,
    Transfer,
)
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import play

STOP = (Transfer(b"\x30\x93", 0, 0.003), b"")
RESET = (Transfer(b"\x30\xa2", 0, 0.003), b"")
STATUS = Transfer(b"\xf3\x2d", 3, 0.001)
MEASURE = Transfer(b"\x24\x00", 6, 0.020)
AFTER_POWER = with_crc(0x8010)
AIR = bytes.fromhex("6667a2 6666 93")


def test_setup_stops_resets_and_asks_who_is_there() -> None:
    """A part that other software lets measure by itself refuses single commands."""
    play(sht3x.make({}).setup(), [STOP, RESET, (STATUS, AFTER_POWER)])
    with pytest.raises(CrcError, match="line is open"):
        play(sht3x.make({}).setup(), [STOP, RESET, (STATUS, b"\xff" * 3)])


@pytest.mark.parametrize("status", [0x4000, 0x1000, 0x0008, 0x0004, 0xFFFF])
def test_a_status_that_no_sht3x_has(status: int) -> None:
    with pytest.raises(FramingError, match=f"status {status:04x} has bits"):
        play(sht3x.make({}).setup(), [STOP, RESET, (STATUS, with_crc(status))])
    assert not play(sht3x.identify(), [(STATUS, with_crc(status))])


def test_a_heater_that_is_on_is_told() -> None:
    """It measures its own warmth."""
    with pytest.raises(NotMeasuredError, match="heater is on"):
        play(sht3x.make({}).setup(), [STOP, RESET, (STATUS, with_crc(0x2000))])


@pytest.mark.parametrize("status", [0x0000, 0x8010, 0xAFF3 & ~0x2000, 0x0C00])
def test_a_status_that_may_be(status: int) -> None:
    """Alerts, a reset that was seen, a command that was refused."""
    play(sht3x.make({}).setup(), [STOP, RESET, (STATUS, with_crc(status))])
    assert play(sht3x.identify(), [(STATUS, with_crc(status))])


@pytest.mark.parametrize(
    ("temp", "humidity", "temp_c", "rh_pct"),
    [
        # The formulas' own points (data sheet 4.13, from memory); pamoja-sensors and
        # another public library read them alike in test_supply_libraries.py.
        (0x6667, 0x6666, 25.00267, 40.0),
        (0x0B6E, 0xFFFE, -37.18662, 99.99847),
        (0x6000, 0x8000, 20.62600, 50.00076),
        (0x3F3F, 0x0000, -1.76471, 0.0),
    ],
)
def test_vectors(temp: int, humidity: int, temp_c: float, rh_pct: float) -> None:
    part = sht3x.make({})
    part.inform("pressure_hpa", 900.0)
    reply = with_crc(temp) + with_crc(humidity)
    assert play(part.poll(), [(MEASURE, reply)]) == [
        Sample("temp_c", pytest.approx(temp_c, abs=1e-5)),
        Sample("rh_pct", pytest.approx(rh_pct, abs=1e-5)),
    ]


def test_wet_is_at_least() -> None:
    """The scale ends at 100 %: a wet sensor stands there."""
    reply = with_crc(0x6667) + with_crc(0xFFFF)
    assert play(sht3x.make({}).poll(), [(MEASURE, reply)])[1] == Sample(
        "rh_pct", 100.0, "at-least", "the sensor is wet"
    )


def test_errors_never_repeat_a_value() -> None:
    part = sht3x.make({})
    good = with_crc(0x6667) + with_crc(0x6666)
    play(part.poll(), [(MEASURE, good)])
    with pytest.raises(ShortError):
        play(part.poll(), [(MEASURE, good[:3])])
    with pytest.raises(CrcError, match="word 2"):
        play(part.poll(), [(MEASURE, good[:5] + b"\0")])


@pytest.mark.parametrize("temp_c", [-40.1, 125.1])
def test_beyond_the_part(temp_c: float) -> None:
    """-40 to 125 °C is what it can measure."""
    with pytest.raises(OutOfRangeError, match="outside -40 to 125"):
        sht3x.samples(sht3x.Sht3xReading(temp_c, 50.0))


def test_identify() -> None:
    """Its status and its checksum tell it from the SHT4x at the same address."""
    assert play(sht3x.identify(), [(STATUS, AFTER_POWER)])
    assert not play(sht3x.identify(), [(STATUS, bytes(3))])
    assert not play(sht3x.identify(), [(STATUS, b"\x80")])
