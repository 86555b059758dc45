"""DS18B20 through the kernel's text."""

import pytest

from cabinvigil.drivers import ds18b20
from cabinvigil.drivers.kit.crc import crc8_wire
from cabinvigil.drivers.kit.steps import (
    CrcError,
    DriverError,
    FramingError,
    LengthError,
    NotMeasuredError,
    OutOfRangeError,
    Sample,
    ShortError,
)

GOOD = b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=25062\n"


def _pad(raw: int, config: int = 0x7F) -> bytes:
    body = raw.to_bytes(2, "little", signed=True) + bytes([75, 70, config, 255, 12, 16])
    return body + bytes([crc8_wire(body)])


def test_reading() -> None:
    """The bytes count, to a sixteenth of a degree; the kernel's t= is cut short."""
    part = ds18b20.make({})
    part.inform("rh_pct", 1.0)
    assert (part.opening(), part.request()) == (b"", b"")
    assert part.feed(GOOD) == [Sample("temp_c", 25.0625)]


@pytest.mark.parametrize(
    ("text", "error"),
    [
        (b"", ShortError),
        (GOOD[:40], ShortError),
        (GOOD[:60], FramingError),
        (GOOD.replace(b"YES", b"NO"), CrcError),
        (GOOD.replace(b"70 t=", b"71 t="), FramingError),
        (GOOD.replace(b"91 01", b"92 01"), CrcError),
        (GOOD.replace(b"t=25062", b"t=abc"), FramingError),
        (GOOD * 3, LengthError),
        (b"\xff\xfe" + GOOD, FramingError),
    ],
)
def test_each_broken_text_is_one_error(text: bytes, error: type[DriverError]) -> None:
    """Missing, cut, refused by the kernel, changed on the way: each is told apart."""
    with pytest.raises(error):
        ds18b20.make({}).feed(text)


def test_power_on_value() -> None:
    """85 °C is what the part starts with; no cabin has it, so it is never served."""
    with pytest.raises(NotMeasuredError, match="starts with"):
        ds18b20.judge(ds18b20.decode(_pad(0x0550)))


@pytest.mark.parametrize(
    ("config", "raw", "temp_c"),
    [
        (0x1F, 0x0197, 25.0),
        (0x3F, 0x0197, 25.25),
        (0x5F, 0x0197, 25.375),
        (0x7F, 0x0197, 25.4375),
        (0x1F, -1, -0.5),
    ],
)
def test_unused_bits_are_cut(config: int, raw: int, temp_c: float) -> None:
    """At 9, 10 and 11 bits the lowest bits are undefined (data sheet, figure 2)."""
    assert ds18b20.decode(_pad(raw, config)) == temp_c


@pytest.mark.parametrize("config", [0x00, 0xFF, 0x60])
def test_config_byte(config: int) -> None:
    """Bits that are always 1, and one that is always 0, tell a held line."""
    with pytest.raises(OutOfRangeError, match="config byte"):
        ds18b20.decode(_pad(0x0191, config))


@pytest.mark.parametrize("raw", [-881, 2001])
def test_beyond_the_part(raw: int) -> None:
    """-55 to 125 °C is what it can measure."""
    with pytest.raises(OutOfRangeError, match="it reports"):
        ds18b20.decode(_pad(raw))


def test_its_ends() -> None:
    """-55 and 125 °C themselves can be; no text of the kernel has 201 characters."""
    assert ds18b20.decode(_pad(-880)) == -55.0
    assert ds18b20.decode(_pad(2000)) == 125.0
    with pytest.raises(FramingError):
        ds18b20.decode_text(GOOD.ljust(200, b"?"))
    with pytest.raises(LengthError):
        ds18b20.decode_text(GOOD.ljust(201, b"?"))


def test_sizes() -> None:
    """Nine bytes, no more and no less."""
    with pytest.raises(ShortError):
        ds18b20.decode(_pad(0)[:8])
    with pytest.raises(LengthError):
        ds18b20.decode(_pad(0) + b"\0")
