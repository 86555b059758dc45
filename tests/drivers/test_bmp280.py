"""BMP280 on a strict wire: the BME280's registers, one quantity fewer."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers import bme280, bmp280
from cabinvigil.drivers.kit import barometer
from cabinvigil.drivers.kit.steps import (
    FramingError,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    Sample,
    Transfer,
    WrongPartError,
)
from tests.wire import MODEST, outcome, play

# The data sheet's worked example (section 3.12, as printed in public drivers' tests).
BLOCK = bytes.fromhex("706b436718fc7d8e43d6d00b270b8c00f9ff8c3cf8c67017")
TRIM = barometer.decode_trim(BLOCK)
AIR = bytes.fromhex("655ac07eed00")

IDENTITY, LATER = Transfer(b"\xd0", 1), Transfer(b"\x00", 1)
RESET = (Transfer(b"\xe0\xb6", 0, 0.010), b"")
ONCE = (Transfer(b"\x88", 24), BLOCK)
CONFIG = (Transfer(b"\xf5\x00"), b"")
FORCE = (Transfer(b"\xf4\x2d", 0, 0.020), b"")
BURST = Transfer(b"\xf3", 10)


def _burst(head: str = "002c0000", data: bytes = AIR) -> bytes:
    """Spell f3 to fc: status, ctrl_meas, config, one reserved, six data."""
    return bytes.fromhex(head) + data


def _made(identity: bytes = b"\x58") -> bmp280.Bmp280:
    part = bmp280.make({})
    play(part.setup(), [(IDENTITY, identity), RESET, ONCE, ONCE, CONFIG])
    return part


@pytest.mark.parametrize("identity", [b"\x56", b"\x57", b"\x58"])
def test_poll(identity: bytes) -> None:
    """The data sheet's example: 25.08 °C and 100,653 Pa, of samples and of the part."""
    part = _made(identity)
    part.inform("rh_pct", 3.0)
    assert play(part.poll(), [FORCE, (BURST, _burst())]) == [
        Sample("pressure_hpa", pytest.approx(1006.5327, abs=1e-4)),
        Sample("temp_c", pytest.approx(25.0825, abs=1e-4)),
    ]


@pytest.mark.parametrize(
    ("data", "temp_c", "hpa"),
    [
        # Beside the example two that a public library decodes alike, in
        # test_supply_libraries.py: a frosty night, a hot and high one.
        ("655ac0 7eed00", 25.0825, 1006.5327),
        ("7bc200 6a4c00", -1.4725, 814.8390),
        ("4f5880 8c1280", 41.9209, 1192.9399),
    ],
)
def test_vectors(data: str, temp_c: float, hpa: float) -> None:
    found = bmp280.decode(bytes.fromhex(data), TRIM)
    assert found.temp_c == pytest.approx(temp_c, abs=1e-4)
    assert found.pressure_hpa == pytest.approx(hpa, abs=1e-3)


@MODEST
@given(st.binary(min_size=6, max_size=6))
def test_it_reads_as_its_sister_does(data: bytes) -> None:
    """One formula for both: what differs is the humidity alone."""
    constants = bme280.decode_calibration(BLOCK + b"\x00\x4b", bytes(7))
    if outcome(lambda: bmp280.decode(data, TRIM)) == "not_measured":
        assert data[:2] == b"\x80\x00"
        return
    ours, sisters = bmp280.decode(data, TRIM), bme280.decode(data + b"00", constants)
    assert (ours.temp_c, ours.pressure_hpa) == (sisters.temp_c, sisters.pressure_hpa)


@pytest.mark.parametrize(
    ("identity", "words"),
    [
        ("60", 'a BME280 responds, .* sold as a BMP280: write kind = "bme280"$'),
        ("61", "a BME680 responds, .* so fit a BMP280"),
    ],
)
def test_a_look_alike_is_told_as_what_it_is(identity: str, words: str) -> None:
    with pytest.raises(WrongPartError, match=words):
        play(bmp280.make({}).setup(), [(IDENTITY, bytes.fromhex(identity))])


def test_no_part_of_the_family() -> None:
    with pytest.raises(
        WrongPartError, match=r"reads 00 where the sensor has 58.* held"
    ):
        play(bmp280.make({}).setup(), [(IDENTITY, b"\0"), (LATER, b"\0")])


def test_constants_are_read_twice() -> None:
    flipped = (ONCE[0], b"\x71" + BLOCK[1:])
    with pytest.raises(FramingError, match="differ"):
        play(bmp280.make({}).setup(), [(IDENTITY, b"\x58"), RESET, ONCE, flipped])


@pytest.mark.parametrize("byte", [b"\x00", b"\xff"])
def test_constants_of_a_dead_line(byte: bytes) -> None:
    dead = (ONCE[0], byte * 24)
    with pytest.raises(OutOfRangeError, match="from no known sensor"):
        play(bmp280.make({}).setup(), [(IDENTITY, b"\x58"), RESET, dead, dead])


def test_poll_before_setup() -> None:
    with pytest.raises(NotMeasuredError, match="constants"):
        play(bmp280.make({}).poll(), [])


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("00000000", "held low or the sensor was reset"),
        ("ffffffff", "is open"),
        ("002c0400", r"settings \(f4, f5\) reads 2c04 where 2c00 was set"),
        ("004c0000", "lost its settings"),
    ],
)
def test_settings_are_read_back(head: str, words: str) -> None:
    with pytest.raises(NotMeasuredError, match=words):
        play(_made().poll(), [FORCE, (BURST, _burst(head))])


@pytest.mark.parametrize("head", ["082c0000", "002d0000"])
def test_running_measurement_is_not_read(head: str) -> None:
    with pytest.raises(NotReadyError):
        play(_made().poll(), [FORCE, (BURST, _burst(head))])


def test_the_other_bit_of_the_status_is_no_measurement() -> None:
    """It copies its constants then (im_update); what was measured is measured."""
    assert play(_made().poll(), [FORCE, (BURST, _burst("f72c0000"))])


def test_skipped_values() -> None:
    """Both left out: nothing was measured; one alone may be air."""
    with pytest.raises(NotMeasuredError, match="not measured"):
        bmp280.decode(bytes.fromhex("800000800000"), TRIM)
    for data in ("8000007eed00", "655ac0800000", "7f00007f0000", "810000810000"):
        bmp280.decode(bytes.fromhex(data), TRIM)


def test_beyond_the_part() -> None:
    """300 to 1100 hPa, -40 to 85 °C."""
    with pytest.raises(OutOfRangeError, match="hPa, outside 300 to 1100 hPa"):
        play(_made().poll(), [FORCE, (BURST, _burst(data=bytes(3) + AIR[3:]))])
    with pytest.raises(OutOfRangeError, match="°C, outside -40 to 85 °C"):
        play(_made().poll(), [FORCE, (BURST, _burst(data=AIR[:3] + b"\xff" * 3))])


def test_identify() -> None:
    """Its identity register tells it from its sister."""
    assert play(bmp280.identify(), [(IDENTITY, b"\x58")])
    assert not play(bmp280.identify(), [(IDENTITY, b"\x60")])
    assert not play(bmp280.identify(), [(IDENTITY, b"\x00")])
