"""BME280 on a strict wire: no checksum, so everything is read back."""

import math

import pytest

from cabinvigil.drivers import bme280
from cabinvigil.drivers.kit import barometer
from cabinvigil.drivers.kit.steps import (
    FramingError,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import play

# The sister part's printed constants (from memory); humidity's are invented.
BLOCK_A = bytes.fromhex("706b436718fc7d8e43d6d00b270b8c00f9ff8c3cf8c67017004b")
BLOCK_B = bytes.fromhex("7201001329031e")
CONSTANTS = bme280.decode_calibration(BLOCK_A, BLOCK_B)
AIR = bytes.fromhex("655ac07eed006ef0")

IDENTITY = Transfer(b"\xd0", 1)
RESET = (Transfer(b"\xe0\xb6", 0, 0.010), b"")
ONCE = [(Transfer(b"\x88", 26), BLOCK_A), (Transfer(b"\xe1", 7), BLOCK_B)]
CONFIG = (Transfer(b"\xf5\x00"), b"")
SETTINGS = [(Transfer(b"\xf2\x01"), b""), (Transfer(b"\xf4\x2d", 0, 0.020), b"")]
BURST = Transfer(b"\xf2", 13)


def _burst(head: str = "01002c0000", data: bytes = AIR) -> bytes:
    """Spell f2 to fe: ctrl_hum, status, ctrl_meas, config, one reserved, eight data."""
    return bytes.fromhex(head) + data


def _made() -> bme280.Bme280:
    part = bme280.make({})
    play(part.setup(), [(IDENTITY, b"\x60"), RESET, *ONCE, *ONCE, CONFIG])
    return part


def test_poll() -> None:
    """The sister part's worked example: 25.08 °C, 1006.53 hPa (from memory)."""
    part = _made()
    part.inform("temp_c", 3.0)
    found = play(part.poll(), [*SETTINGS, (BURST, _burst())])
    assert [(s.quantity, round(s.value, 2)) for s in found] == [
        ("pressure_hpa", 1006.53),
        ("rh_pct", 47.10),
        ("temp_c", 25.08),
    ]


LATER = Transfer(b"\x00", 1)


@pytest.mark.parametrize(
    ("identity", "words"),
    [
        ("58", 'a BMP280 responds, .* measures no humidity: write kind = "bmp280"$'),
        ("56", "a BMP280"),
        ("57", "a BMP280"),
        (
            "61",
            "a BME680 responds, which was perhaps sold as a BME280: .* fit a BME280",
        ),
    ],
)
def test_d6_a_look_alike_is_told_as_what_it_is(identity: str, words: str) -> None:
    """58 is the sister without humidity (from memory)."""
    with pytest.raises(WrongPartError, match=words):
        play(bme280.make({}).setup(), [(IDENTITY, bytes.fromhex(identity))])


@pytest.mark.parametrize(
    ("identity", "later", "words"),
    [
        ("00", "60", 'a BMP390 responds, .* write kind = "bmp390"'),
        ("00", "50", "a BMP388 responds, .* cannot read that sensor, so fit a BME280"),
        ("59", "00", "identity register reads 59 where the sensor has 60$"),
        ("ff", "ff", "open"),
    ],
)
def test_d6_a_later_one_has_its_identity_elsewhere(
    identity: str, later: str, words: str
) -> None:
    """In register 00 (a public library); ff is no part at all."""
    script = [(IDENTITY, bytes.fromhex(identity)), (LATER, bytes.fromhex(later))]
    with pytest.raises(WrongPartError, match=words):
        play(bme280.make({}).setup(), script)


def test_constants_are_read_twice() -> None:
    """One flipped bit in the constants would spoil a whole night."""
    flipped = [(ONCE[0][0], b"\x71" + BLOCK_A[1:]), ONCE[1]]
    with pytest.raises(FramingError, match="differ"):
        play(bme280.make({}).setup(), [(IDENTITY, b"\x60"), RESET, *ONCE, *flipped])


@pytest.mark.parametrize("byte", [b"\x00", b"\xff"])
def test_constants_of_a_dead_line(byte: bytes) -> None:
    """A line that dies after the identity was read gives no constants."""
    dead = [(ONCE[0][0], byte * 26), (ONCE[1][0], byte * 7)]
    with pytest.raises(OutOfRangeError, match="from no known sensor"):
        play(bme280.make({}).setup(), [(IDENTITY, b"\x60"), RESET, *dead, *dead])


@pytest.mark.parametrize("word", [0, 0xFFFF])
@pytest.mark.parametrize(("name", "at"), [("T1", 0), ("P1", 6)])
def test_constants_that_no_part_has(name: str, at: int, word: int) -> None:
    """All bits alike is a dead line, and P1 of 0 makes no pressure."""
    block = bytearray(BLOCK_A)
    block[at : at + 2] = word.to_bytes(2, "little")
    with pytest.raises(OutOfRangeError, match=f"{name} {word}"):
        bme280.decode_calibration(bytes(block), BLOCK_B)


def test_poll_before_setup() -> None:
    """Without constants there is no value."""
    with pytest.raises(NotMeasuredError, match="constants"):
        play(bme280.make({}).poll(), [])


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("0000000000", "held low or the sensor was reset"),
        ("ffffffffff", "is open"),
        ("0000000000", "f2, f4, f5"),
        ("01002c0400", "reads 012c04 where 012c00 was set"),
        ("02002c0000", "lost its settings"),
        ("01004c0000", "lost its settings"),
    ],
)
def test_settings_are_read_back(head: str, words: str) -> None:
    """After a brown-out the part sleeps with frozen data: they are not believed."""
    with pytest.raises(NotMeasuredError, match=words):
        play(_made().poll(), [*SETTINGS, (BURST, _burst(head))])


@pytest.mark.parametrize("head", ["01082c0000", "01002d0000"])
def test_running_measurement_is_not_read(head: str) -> None:
    """The flag, or a mode that has not ended, means: not ready."""
    with pytest.raises(NotReadyError):
        play(_made().poll(), [*SETTINGS, (BURST, _burst(head))])


def test_short_burst() -> None:
    """A short answer is no answer."""
    with pytest.raises(ShortError):
        play(_made().poll(), [*SETTINGS, (BURST, _burst()[:-1])])


@pytest.mark.parametrize(
    "data", ["800000 800000 8000", "800000 800000 6ef0", "655ac08000008000"]
)
def test_skipped_values(data: str) -> None:
    """Two that were left out are no chance: the part has measured nothing."""
    with pytest.raises(NotMeasuredError, match="not measured"):
        bme280.decode(bytes.fromhex(data), CONSTANTS)


@pytest.mark.parametrize(
    "data", ["800000 7eed00 6ef0", "655ac0 800000 6ef0", "655ac07eed008000"]
)
def test_a_value_in_the_middle_of_the_scale_is_measured(data: str) -> None:
    """Seeded chaos: at some humidity it came four times an hour, and was a fault."""
    reading = bme280.decode(bytes.fromhex(data), CONSTANTS)
    assert all(
        map(math.isfinite, (reading.temp_c, reading.pressure_hpa, reading.rh_raw_pct))
    )


def test_wet_is_at_least() -> None:
    """At 100 % the sensor is wet: the formula's end, and the truth may be more."""
    wet = bme280.Bme280Reading(10.0, 1000.0, 100.0, 131.0)
    assert [s.quality for s in bme280.samples(wet)] == ["good", "at-least", "good"]


@pytest.mark.parametrize(
    ("temp_c", "hpa", "rh"),
    [
        (85.1, 1000, 50),
        (-40.1, 1000, 50),
        (20, 1100.1, 50),
        (20, 299.9, 50),
        (20, 1000, -0.1),
    ],
)
def test_beyond_the_part(temp_c: float, hpa: float, rh: float) -> None:
    """-40 to 85 °C, 300 to 1100 hPa (table 1); below 0 % nothing is cropped."""
    reading = bme280.Bme280Reading(temp_c, hpa, max(0.0, rh), rh)
    with pytest.raises(OutOfRangeError, match="it computes"):
        bme280.samples(reading)


def test_constants_with_a_zero_slope() -> None:
    """Constants that divide by zero are refused, not crashed on.

    With P2 = P3 = 0 the slope is P1, which can be 0 only here, past the first check.
    """
    flat = barometer.Trim(CONSTANTS.air.t, (0, 0, 0, *CONSTANTS.air.p[3:]))
    with pytest.raises(OutOfRangeError, match="make no pressure"):
        barometer.pressure_pa(415148, 128422.0, flat)


def test_identify() -> None:
    """Its identity register tells it from its sister."""
    assert play(bme280.identify(), [(IDENTITY, b"\x60")])
    assert not play(bme280.identify(), [(IDENTITY, b"\x58")])
