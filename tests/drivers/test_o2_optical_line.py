"""The optical oxygen line: whole, self-checked and consistent, or not believed."""

import math

import pytest

from cabinvigil.drivers import o2_optical_line as optical
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.frames import PATIENCE_FRAMES
from cabinvigil.drivers.kit.steps import (
    DriverError,
    FramingError,
    NotMeasuredError,
    OutOfRangeError,
    Sample,
    ShortError,
)

GOOD = b"O 0212.3 T +22.5 P 1013 % 020.95 e 0000\r\n"
NO_CELL = b"O 0199.5 T +22.5 P ---- % ------ e 0000\r\n"


def _reading(line: bytes) -> optical.OpticalReading:
    found = optical.decode(line)
    assert isinstance(found, optical.OpticalReading)
    return found


def _judge(reading: optical.OpticalReading) -> list[Sample]:
    return optical.samples(reading, Conditions(optical.RANGE_C))


def test_streaming() -> None:
    """A line gives percent, partial pressure and the module's own air pressure."""
    part = optical.make({})
    assert part.opening() == b"M 0\r\n"
    assert part.request() == b""
    assert part.feed(b"M 00\r\n" + GOOD[:20]) == []
    assert part.feed(GOOD[20:]) == [
        Sample("o2_pct", 20.95),
        Sample("o2_hpa", 212.3),
        Sample("pressure_hpa", 1013.0),
    ]


@pytest.mark.parametrize(
    ("line", "error"),
    [
        (b"\r\n", FramingError),
        (b"O\r\n", ShortError),
        (b"O 0212.3 P 1013 T +22.5 % 020.95 e 0000\r\n", FramingError),
        (b"O 0212.3 T +22.5 P 1013 % 020.95 e\r\n", ShortError),
        (b"O 0212.3 T +22.5 P 1013 % 20.9\r\n", ShortError),
        (b"O 02x2.3 T +22.5 P 1013 % 020.95 e 0000\r\n", FramingError),
        (b"O 0212.3 T +22.5 P 1013 % 020.95 e 000\r\n", FramingError),
        (b"O 0212.3 T +22.5 P 1013 % 020.95 e 0000 X 1\r\n", FramingError),
        (b"O ------ T +22.5 P 1013 % 020.95 e 0000\r\n", FramingError),
        (b"O 1e9 T +22.5 P 1013 % 020.95 e 0000\r\n", FramingError),
        (b"O nan T +22.5 P 1013 % 020.95 e 0000\r\n", FramingError),
        (b"% abc\r\n", FramingError),
        (b"E\r\n", FramingError),
    ],
)
def test_lines_that_are_none(line: bytes, error: type[DriverError]) -> None:
    """Cut, jumbled, mis-spelt: each is one named error."""
    with pytest.raises(error):
        optical.decode(line)


@pytest.mark.parametrize(
    ("line", "words"),
    [(b"E 00001\r\n", "does not know it"), (b"E 00009\r\n", "does not say why")],
)
def test_refusals(line: bytes, words: str) -> None:
    """The last digit says why a command was refused."""
    with pytest.raises(FramingError, match=words):
        optical.decode(line)


def test_status_must_be_good() -> None:
    """Whatever else a line says, a status other than 0000 makes it worthless."""
    with pytest.raises(NotMeasuredError, match="self-check says 0005"):
        _judge(_reading(GOOD.replace(b"e 0000", b"e 0005")))


def test_percent_and_pressures_must_agree() -> None:
    """20.95 % of 1013 are 212.2: 0.3 % apart is let through, more is not."""
    _judge(_reading(GOOD.replace(b"020.95", b"020.70")))
    with pytest.raises(OutOfRangeError, match=r"reports 20\.6 % oxygen, but 212\.3 of"):
        _judge(_reading(GOOD.replace(b"020.95", b"020.60")))
    with pytest.raises(OutOfRangeError, match=r"reports 21\.3 %"):
        _judge(_reading(GOOD.replace(b"020.95", b"021.30")))


def test_dead_values() -> None:
    """No oxygen at all, or no pressure, is no air."""
    with pytest.raises(OutOfRangeError, match="0 hPa of oxygen"):
        _judge(_reading(GOOD.replace(b"0212.3", b"0000.0")))
    with pytest.raises(OutOfRangeError, match="pressure of 0 hPa"):
        _judge(_reading(GOOD.replace(b"1013", b"0000")))


def test_without_a_pressure_cell() -> None:
    """Percent comes from another part's pressure; without one there is none.

    At 640 m and 939 hPa, 199.5 hPa are 21.2 %; taken at sea level it would be 19.7.
    """
    part = optical.make({})
    assert part.feed(NO_CELL) == [Sample("o2_hpa", 199.5)]
    part.inform("pressure_hpa", 939.0)
    part.inform("pressure_hpa", math.inf)
    part.inform("temp_c", 10.0)
    assert part.feed(NO_CELL) == [
        Sample("o2_pct", pytest.approx(21.246, abs=0.001)),
        Sample("o2_hpa", 199.5),
    ]


def test_a_pressure_that_nobody_gives_any_more_makes_no_percent() -> None:
    """NaN says so: what it was hours ago is none."""
    part = optical.make({})
    part.inform("pressure_hpa", 939.0)
    part.inform("pressure_hpa", math.nan)
    assert part.feed(NO_CELL) == [Sample("o2_hpa", 199.5)]


def test_own_pressure_cell_is_preferred() -> None:
    """A module with a pressure cell needs no other's pressure."""
    part = optical.make({})
    part.inform("pressure_hpa", 800.0)
    assert part.feed(GOOD)[0] == Sample("o2_pct", 20.95)


def test_full_scale_and_cold() -> None:
    """At 25 % or 300 hPa the truth may be more; below -30 °C nothing is promised."""
    rich = _reading(b"O 0300.0 T +22.5 P 1200 % 025.00 e 0000\r\n")
    assert [s.quality for s in _judge(rich)] == [
        "at-least",
        "at-least",
        "good",
    ]
    cold = _reading(GOOD.replace(b"+22.5", b"-31.0"))
    assert {s.quality for s in _judge(cold)} == {"outside-range"}


def test_wet_disc() -> None:
    """From 0 to 99 % humidity, without dew (data sheet): a wet disc may stand still."""
    part = optical.make({})
    part.inform("rh_pct", 99.0)
    assert {s.quality for s in part.feed(GOOD)} == {"good"}
    part.inform("rh_pct", 100.0)
    found = part.feed(GOOD)
    assert {s.quality for s in found} == {"outside-range"}
    assert "100.0 % humidity" in found[0].reason


def test_power_up_noise_is_silent_and_babble_is_not() -> None:
    """The first lines may be broken; eight broken lines are a fault."""
    part = optical.make({})
    assert part.feed(b"\x00\xff2.3 T\n" + GOOD)
    part.opening()
    assert part.feed(b"junk\n" * PATIENCE_FRAMES) == []
    with pytest.raises(FramingError):
        part.feed(b"junk\n")


def test_broken_lines_are_told_and_good_ones_kept() -> None:
    """Amid a stream, a broken line is an error, and its neighbours are not lost."""
    part = optical.make({})
    part.feed(GOOD)
    with pytest.raises(ShortError):
        part.feed(GOOD + b"O 0212.3 T +22.5\r\n" + GOOD)
    assert len(part.feed(b"")) == 6


def test_opening_forgets_half_a_line() -> None:
    """After the port was opened again, the old half line spoils nothing."""
    part = optical.make({})
    part.feed(GOOD + GOOD[:10])
    part.opening()
    assert len(part.feed(GOOD)) == 3


@pytest.mark.parametrize(
    ("disc", "quality"),
    [(b"+20.0", "good"), (b"+12.3", "good"), (b"+11.0", "outside-range")],
)
def test_a_disc_colder_than_the_dew_point_is_wet(disc: bytes, quality: str) -> None:
    """Air of 20 °C and 60 % has its dew point at 12.0 °C (ASHRAE's tables)."""
    part = optical.make({})
    part.inform("rh_pct", 60.0)
    part.inform("temp_c", 20.0)
    found = part.feed(GOOD.replace(b"+22.5", disc))
    assert {s.quality for s in found} == {quality}


def test_an_unknown_warmth_of_the_room_is_the_discs() -> None:
    """Then the room's humidity counts as it is; so it does once it is forgotten."""
    part = optical.make({})
    part.inform("rh_pct", 60.0)
    cold = GOOD.replace(b"+22.5", b"+01.0")
    assert part.feed(cold)[0].quality == "good"
    part.inform("temp_c", 20.0)
    assert part.feed(cold)[0].quality == "outside-range"
    part.inform("temp_c", math.nan)
    part.inform("rh_pct", 60.0)
    assert part.feed(cold)[0].quality == "good"
