"""TMP117 on a strict wire: a dead line is a plausible winter window."""

import pytest

from cabinvigil.drivers import tmp117
from cabinvigil.drivers.kit.steps import (
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    Sample,
    Transfer,
    WrongPartError,
)
from tests.wire import Line, play

WHO: Line = (Transfer(b"\x0f", 2), b"\x01\x17")
DEAD: Line = (WHO[0], b"\xff\xff")
CONFIG, TEMP = Transfer(b"\x01", 2), Transfer(b"\x00", 2)
READY: Line = (CONFIG, b"\x22\x20")


def test_setup() -> None:
    """The part is told, then set to a mean of eight each second."""
    play(tmp117.make({}).setup(), [WHO, (Transfer(b"\x01\x02\x20"), b"")])


@pytest.mark.parametrize(("word", "temp_c"), [("0c80", 25.0), ("f380", -25.0)])
def test_poll(word: str, temp_c: float) -> None:
    """Two lines of the data sheet's table 7-1."""
    part = tmp117.make({})
    part.inform("rh_pct", 1.0)
    found = play(part.poll(), [WHO, READY, (TEMP, bytes.fromhex(word))])
    assert found == [Sample("temp_c", temp_c)]


def test_undriven_line_asks_again() -> None:
    """ff ff is -0.0078 °C: believed only where the part still tells its name."""
    found = play(tmp117.make({}).poll(), [WHO, READY, (TEMP, b"\xff\xff"), WHO])
    assert found == [Sample("temp_c", -0.0078125)]
    with pytest.raises(WrongPartError, match="is open"):
        play(tmp117.make({}).poll(), [WHO, READY, (TEMP, b"\xff\xff"), DEAD])


def test_flag_is_obeyed() -> None:
    """Without a new reading the old one is not served again."""
    with pytest.raises(NotReadyError):
        play(tmp117.make({}).poll(), [WHO, (CONFIG, b"\x02\x20")])


@pytest.mark.parametrize("config", ["2620", "2224", "2200"])
def test_other_setting(config: str) -> None:
    """Shut down, thermostat or unaveraged: another setting than ours is refused."""
    with pytest.raises(NotMeasuredError, match="was set"):
        play(tmp117.make({}).poll(), [WHO, (CONFIG, bytes.fromhex(config))])


def test_alert_flags_are_no_setting() -> None:
    """The part's own alert flags change nothing."""
    found = play(tmp117.make({}).poll(), [WHO, (CONFIG, b"\xe2\x20"), (TEMP, b"\0\0")])
    assert found == [Sample("temp_c", 0.0)]


def test_before_the_first_reading() -> None:
    """8000 stands in the register until the part has measured."""
    with pytest.raises(NotMeasuredError, match="since power-up"):
        play(tmp117.make({}).poll(), [WHO, READY, (TEMP, b"\x80\x00")])


@pytest.mark.parametrize("word", ["7fff", "e400"])
def test_beyond_the_part(word: str) -> None:
    """-55 to 150 °C is what it can measure."""
    with pytest.raises(OutOfRangeError, match="outside -55 to 150 °C"):
        tmp117.decode(bytes.fromhex(word))


def test_another_part_at_its_address() -> None:
    """An ADS1115, which shares the address, has no such register."""
    with pytest.raises(WrongPartError, match="reads 7fff where the sensor has 0117"):
        play(tmp117.make({}).poll(), [(WHO[0], b"\x7f\xff")])
    assert play(tmp117.identify(), [WHO])
    assert not play(tmp117.identify(), [DEAD])
