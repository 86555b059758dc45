"""BMP390 on a strict wire: other registers and another formula than its elders'."""

import struct

import pytest

from cabinvigil.drivers import bmp390
from cabinvigil.drivers.kit.steps import (
    FramingError,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    Sample,
    ShortError,
    Transfer,
    WrongPartError,
)
from tests.wire import play

# Constants of our own choice, as large as those that public drivers print.
CONSTANTS = (27500, 19000, -7, 500, -800, 35, 0, 25000, 30000, 3, -6, 12000, 8, -60)
BLOCK = struct.pack("<HHbhhbbHHbbhbb", *CONSTANTS)
TRIM = bmp390.decode_constants(BLOCK)
AIR = bytes.fromhex("20b369 002d80")

IDENTITY, EARLIER = Transfer(b"\x00", 1), Transfer(b"\xd0", 1)
RESET = (Transfer(b"\x7e\xb6", 0, 0.010), b"")
ONCE = (Transfer(b"\x31", 21), BLOCK)
SET = [(Transfer(b"\x1c\x02"), b""), (Transfer(b"\x1f\x00"), b"")]
FORCE = (Transfer(b"\x1b\x13", 0, 0.020), b"")
DATA, SETTINGS = Transfer(b"\x02", 8), Transfer(b"\x1b", 5)
GOOD = bytes.fromhex("0302000000")


def _made() -> bmp390.Bmp390:
    part = bmp390.make({})
    play(part.setup(), [(IDENTITY, b"\x60"), RESET, ONCE, ONCE, *SET])
    return part


def _polled(
    head: str = "0070", data: bytes = AIR, settings: bytes = GOOD
) -> list[Sample]:
    """Poll with f3, the status and the settings."""
    part = _made()
    part.inform("temp_c", 3.0)
    script = [FORCE, (DATA, bytes.fromhex(head) + data), (SETTINGS, settings)]
    return play(part.poll(), script)


def test_poll() -> None:
    assert _polled() == [
        Sample("pressure_hpa", pytest.approx(1025.7535, abs=1e-4)),
        Sample("temp_c", pytest.approx(24.0216, abs=1e-4)),
    ]


@pytest.mark.parametrize(
    ("data", "temp_c", "hpa"),
    [
        # As a public library reads them (test_supply_libraries.py asks it again).
        ("20b369 002d80", 24.02163395, 1025.75348727),
        ("00c070 00007a", 16.88308483, 937.05783021),
        ("000058 000084", 28.43794114, 1218.94990428),
    ],
)
def test_vectors(data: str, temp_c: float, hpa: float) -> None:
    found = bmp390.decode(bytes.fromhex(data), TRIM)
    assert found.temp_c == pytest.approx(temp_c, abs=1e-7)
    assert found.pressure_hpa == pytest.approx(hpa, abs=1e-7)


@pytest.mark.parametrize(
    ("identity", "earlier", "words"),
    [
        ("50", "00", "a BMP388 responds, .* so fit a BMP390"),
        ("00", "58", 'a BMP280 responds, .* sold as a BMP390: write kind = "bmp280"$'),
        ("00", "00", "reads 00 where the sensor has 60.* held low"),
    ],
)
def test_a_look_alike_is_told_as_what_it_is(
    identity: str, earlier: str, words: str
) -> None:
    """Both lines come on boards of one kind; their identities stand apart."""
    script = [(IDENTITY, bytes.fromhex(identity))]
    if identity == "00":
        script.append((EARLIER, bytes.fromhex(earlier)))
    with pytest.raises(WrongPartError, match=words):
        play(bmp390.make({}).setup(), script)


def test_constants_are_read_twice() -> None:
    flipped = (ONCE[0], b"\x71" + BLOCK[1:])
    with pytest.raises(FramingError, match="differ"):
        play(bmp390.make({}).setup(), [(IDENTITY, b"\x60"), RESET, ONCE, flipped])


@pytest.mark.parametrize("word", [0, 0xFFFF])
@pytest.mark.parametrize(("name", "at"), [("T1", 0), ("P5", 11)])
def test_constants_that_no_part_has(name: str, at: int, word: int) -> None:
    block = bytearray(BLOCK)
    block[at : at + 2] = word.to_bytes(2, "little")
    with pytest.raises(OutOfRangeError, match=f"{name} {word}"):
        bmp390.decode_constants(bytes(block))
    with pytest.raises(ShortError, match="calibration block: 20 bytes"):
        bmp390.decode_constants(BLOCK[:-1])


def test_poll_before_setup() -> None:
    with pytest.raises(NotMeasuredError, match="constants"):
        play(bmp390.make({}).poll(), [])


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("0000000000", r"settings \(1b, 1c, 1f\) reads 000000 .* was reset"),
        ("ffffffffff", "is open"),
        ("0303000000", "reads 030300 where 030200 was set: .* lost its settings"),
        ("0302000004", "reads 030204 where 030200 was set"),
        ("3302000000", "reads 330200"),
    ],
)
def test_settings_are_read_back(settings: str, words: str) -> None:
    """The rate at 1d and the byte behind it are not ours: they may be anything."""
    with pytest.raises(NotMeasuredError, match=words):
        _polled(settings=bytes.fromhex(settings))
    assert _polled(settings=bytes.fromhex("0302aabb00"))


@pytest.mark.parametrize(
    ("head", "settings"),
    [("0030", "0302000000"), ("0050", "0302000000"), ("0070", "1302000000")],
)
def test_running_measurement_is_not_read(head: str, settings: str) -> None:
    """Either value not ready yet, or the mode has not ended."""
    with pytest.raises(NotReadyError, match="still runs"):
        _polled(head, settings=bytes.fromhex(settings))


@pytest.mark.parametrize(("error", "is_told"), [("01", 1), ("04", 1), ("02", 0)])
def test_an_error_of_its_own_is_told(error: str, is_told: bool) -> None:
    """Fatal, or settings that do not go together; a refused command of the past not."""
    if is_told:
        with pytest.raises(NotMeasuredError, match=rf"error of its own \({error}\)"):
            _polled(error + "70")
    else:
        assert _polled(error + "70")


def test_skipped_values() -> None:
    with pytest.raises(NotMeasuredError, match="not measured"):
        _polled(data=bytes.fromhex("000080000080"))
    for data in ("0000807ab369", "20b369000080", "00007f00007f", "010080010080"):
        bmp390.decode(bytes.fromhex(data), TRIM)


def test_beyond_the_part() -> None:
    with pytest.raises(OutOfRangeError, match="hPa, outside 300 to 1100 hPa"):
        _polled(data=b"\xff\xff\x20" + AIR[3:])
    with pytest.raises(OutOfRangeError, match="°C, outside -40 to 85 °C"):
        _polled(data=AIR[:3] + b"\xff" * 3)


def test_identify() -> None:
    assert play(bmp390.identify(), [(IDENTITY, b"\x60")])
    assert not play(bmp390.identify(), [(IDENTITY, b"\x50")])
