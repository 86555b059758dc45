"""SGP41 on a strict wire: conditioned for ten polls, told the air, never an alarm."""

import pytest

from cabinvigil.drivers import sgp41
from cabinvigil.drivers.kit.steps import (
    CellDeadError,
    CrcError,
    OutOfRangeError,
    Transfer,
)
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import Line, play

OFF: Line = (Transfer(b"\x36\x15", 0, 0.001), b"")
SERIAL: Line = (Transfer(b"\x36\x82", 9, 0.001), with_crc(1) * 3)
TEST = Transfer(b"\x28\x0e", 3, 0.320)
PASSED: Line = (TEST, with_crc(0xD400))
DEFAULT = bytes.fromhex("8000a2666693")
CONDITION = Transfer(b"\x26\x12" + DEFAULT, 3, 0.050)
MEASURE = Transfer(b"\x26\x19" + DEFAULT, 6, 0.050)
TICKS = with_crc(30000) + with_crc(15000)


def _made() -> sgp41.Sgp41:
    part = sgp41.make({})
    play(part.setup(), [OFF, SERIAL, PASSED])
    return part


def _conditioned() -> sgp41.Sgp41:
    part = _made()
    for _ in range(10):
        play(part.poll(), [(CONDITION, with_crc(29000))])
    return part


def test_conditioning_is_doubtful_and_ends() -> None:
    """Ten polls of one second condition the pixels, no more: longer does harm."""
    part = _made()
    (found,) = play(part.poll(), [(CONDITION, with_crc(29000))])
    assert (found.quantity, found.quality) == ("voc_raw", "outside-range")
    found = play(_conditioned().poll(), [(MEASURE, TICKS)])
    assert [(s.quantity, s.value, s.quality) for s in found] == [
        ("voc_raw", 30000.0, "good"),
        ("nox_raw", 15000.0, "good"),
    ]


def test_setup_begins_anew() -> None:
    """After a new start the pixels are conditioned again."""
    part = _conditioned()
    play(part.setup(), [OFF, SERIAL, PASSED])
    play(part.poll(), [(CONDITION, with_crc(29000))])


def test_failed_self_test() -> None:
    """4b00 is a failed part (SGP40 v1.0 p. 14, table 13)."""
    with pytest.raises(CellDeadError, match="replace it"):
        play(sgp41.make({}).setup(), [OFF, SERIAL, (TEST, with_crc(0x4B00))])


@pytest.mark.parametrize("verdict", [0xD400, 0x0000, 0xFF00, 0xD4F0])
def test_d8_bits_that_its_maker_passes_over_fail_no_part(verdict: int) -> None:
    """The low four bits alone are the verdict; a good part was refused for others."""
    assert sgp41.decode_self_test(with_crc(verdict))


@pytest.mark.parametrize("verdict", [0xD401, 0x0002, 0x0003])
def test_d8_a_faulty_pixel_fails_the_part(verdict: int) -> None:
    """Bit 0 is the pixel for VOC, bit 1 the one for NOx."""
    with pytest.raises(CellDeadError, match="replace it"):
        play(sgp41.make({}).setup(), [OFF, SERIAL, (TEST, with_crc(verdict))])


def test_air_is_told() -> None:
    """62.5 % and 8.25 °C: 40960 and 19941 ticks of the 16-bit range, by hand."""
    part = _conditioned()
    part.inform("rh_pct", 62.5)
    part.inform("temp_c", 8.25)
    told = b"\x26\x19" + with_crc(40959) + with_crc(19941)
    play(part.poll(), [(Transfer(told, 6, 0.050), TICKS)])


def test_words_stay_in_16_bits() -> None:
    """Air beyond the words' ends is told as the end."""
    assert [sgp41.humidity_word(v) for v in (-5.0, 0.0, 50.0, 106.0)] == [
        0,
        0,
        32768,
        65535,
    ]
    assert [sgp41.temperature_word(v) for v in (-60.0, -45.0, 25.0, 140.0)] == [
        0,
        0,
        26214,
        65535,
    ]


def test_condensing_air_is_doubtful() -> None:
    """Above 90 % humidity its maker promises nothing (section 2.3)."""
    part = _conditioned()
    part.inform("rh_pct", 95.0)
    told = b"\x26\x19" + with_crc(sgp41.humidity_word(95.0)) + with_crc(0x6666)
    found = play(part.poll(), [(Transfer(told, 6, 0.050), TICKS)])
    assert {s.quality for s in found} == {"outside-range"}


@pytest.mark.parametrize("raw", [0, 0xFFFF])
def test_dead_pixel(raw: int) -> None:
    """No live pixel sits at an end of the scale, warming up or not."""
    with pytest.raises(OutOfRangeError):
        play(_made().poll(), [(CONDITION, with_crc(raw))])
    with pytest.raises(OutOfRangeError):
        play(_conditioned().poll(), [(MEASURE, with_crc(30000) + with_crc(raw))])


def test_broken_answer_conditions_on() -> None:
    """A broken answer is an error and does not count as conditioning."""
    part = _made()
    with pytest.raises(CrcError):
        play(part.poll(), [(CONDITION, bytes(3))])
    for _ in range(10):
        play(part.poll(), [(CONDITION, with_crc(29000))])


def test_identify() -> None:
    """The serial number's checksums tell the part."""
    assert play(sgp41.identify(), [SERIAL])
    assert not play(sgp41.identify(), [(SERIAL[0], bytes(9))])


def test_indices_come_after_the_blackout() -> None:
    """46 seconds give none; then usual air is a low start towards 100, and NOx 1."""
    part = _conditioned()
    for _ in range(46):
        assert len(play(part.poll(), [(MEASURE, TICKS)])) == 2
    found = play(part.poll(), [(MEASURE, TICKS)])
    assert [(s.quantity, s.value) for s in found[2:]] == [
        ("voc_index", 1.0),
        ("nox_index", 1.0),
    ]
    play(part.setup(), [OFF, SERIAL, PASSED])
    for _ in range(10):
        play(part.poll(), [(CONDITION, with_crc(29000))])
    assert len(play(part.poll(), [(MEASURE, TICKS)])) == 4
