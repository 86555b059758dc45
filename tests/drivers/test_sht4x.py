"""SHT4x on a strict wire."""

import pytest

from cabinvigil.drivers import sht4x
from cabinvigil.drivers.kit.steps import (
    CrcError,
    OutOfRangeError,
    Sample,
    ShortError,
    Transfer,
)
from tests.wire import play

RESET = (Transfer(b"\x94", 0, 0.002), b"")
SERIAL = Transfer(b"\x89", 6, 0.001)
MEASURE = Transfer(b"\xfd", 6, 0.010)
AIR = bytes.fromhex("6667a25eb93c")
WET = bytes.fromhex("4b1d1de666b0")


def test_setup_resets_and_asks_who_is_there() -> None:
    """A reset also ends a heater pulse that other software began."""
    play(sht4x.make({}).setup(), [RESET, (SERIAL, AIR)])
    with pytest.raises(CrcError, match="line is open"):
        play(sht4x.make({}).setup(), [RESET, (SERIAL, b"\xff" * 6)])


def test_poll() -> None:
    """One command of high precision, read ten milliseconds later."""
    part = sht4x.make({})
    part.inform("pressure_hpa", 900.0)
    assert play(part.poll(), [(MEASURE, AIR)]) == [
        Sample("temp_c", pytest.approx(25.0027, abs=1e-4)),
        Sample("rh_pct", pytest.approx(40.252, abs=1e-4)),
    ]


def test_wet_sensor_is_not_cropped() -> None:
    """106.5 % tells a wet sensor; cropped to 100 it would be hidden."""
    assert play(sht4x.make({}).poll(), [(MEASURE, WET)])[1].value > 106


def test_errors_never_repeat_a_value() -> None:
    """After a good value, a short answer gives an error and nothing else."""
    part = sht4x.make({})
    play(part.poll(), [(MEASURE, AIR)])
    with pytest.raises(ShortError):
        play(part.poll(), [(MEASURE, AIR[:3])])


@pytest.mark.parametrize("temp_c", [-40.1, 125.1])
def test_beyond_the_part(temp_c: float) -> None:
    """-40 to 125 °C is what it can measure (data sheet, cover)."""
    with pytest.raises(OutOfRangeError):
        sht4x.samples(sht4x.Sht4xReading(temp_c, 50.0))


def test_identify() -> None:
    """The serial number's checksums tell the part."""
    assert play(sht4x.identify(), [(SERIAL, AIR)])
    assert not play(sht4x.identify(), [(SERIAL, bytes(6))])
