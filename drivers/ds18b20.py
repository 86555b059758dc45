"""DS18B20: temperature, of the glass or the air outside, through the kernel's 1-wire.

Sources: Maxim DS18B20 data sheet REV 042208, as gathered in the project's sensor notes,
section 9; the form of the kernel's text by a public library.
"""

import re

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.crc import crc8_wire
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    Gives,
    LengthError,
    NotMeasuredError,
    OutOfRangeError,
    PartInfo,
    Sample,
    ShortError,
)

SIZE = 9
"""Bytes of the scratchpad, the last its CRC."""
CONFIG_ONES = 0x1F
"""Bits of the config byte that are always 1; its top bit is always 0."""
STEP_C = 0.0625
POWER_ON_C = 85.0
"""What the part holds before its first conversion, and when starved of power (from
memory).  No glass or air of a cabin has it."""
RANGE_C = (-55.0, 125.0)
LONGEST = 200
"""The kernel's text has 74 characters; more than this is another file (own limit)."""

_TEXT = re.compile(
    rb"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)\n"
    rb"((?:[0-9a-f]{2} ){9})t=(-?\d{1,6})\n?"
)


def decode(scratchpad: bytes) -> float:
    """Decode the temperature in °C from the nine bytes that the part sends.

    Raises:
        ShortError, LengthError: not nine bytes.
        CrcError: the checksum does not fit.
        OutOfRangeError: a config byte that no part has (nine zero bytes pass the
            checksum), or a temperature that the part cannot measure.
    """
    if len(scratchpad) < SIZE:
        raise ShortError(f"{len(scratchpad)} bytes came where the sensor sends {SIZE}")
    if len(scratchpad) > SIZE:
        raise LengthError(f"{len(scratchpad)} bytes came where the sensor sends {SIZE}")
    wanted = crc8_wire(scratchpad[:8])
    if scratchpad[8] != wanted:
        raise CrcError(
            f"the checksum is {scratchpad[8]:02x}, its bytes give {wanted:02x}"
        )
    config = scratchpad[4]
    if config & 0x9F != CONFIG_ONES:
        raise OutOfRangeError(
            f"its config byte is {config:02x}, which no sensor has: the line is held "
            "low"
        )
    # Fewer bits of resolution leave the lowest ones undefined: they are cut off.
    unused = 3 - (config >> 5 & 3)
    raw = int.from_bytes(scratchpad[0:2], "little", signed=True) >> unused << unused
    temp_c = raw * STEP_C
    if not RANGE_C[0] <= temp_c <= RANGE_C[1]:
        raise OutOfRangeError(
            f"it reports {temp_c:.1f} °C, outside {RANGE_C[0]:g} to {RANGE_C[1]:g} °C"
        )
    return temp_c


def decode_text(text: bytes) -> float:
    """Decode the temperature in °C from the kernel's two lines.

    Raises:
        ShortError: the file is empty or cut.
        FramingError, LengthError: not that text.
        CrcError: the kernel or the bytes themselves say so.
        OutOfRangeError: see `decode`.
    """
    if len(text) > LONGEST:
        raise LengthError(f"{len(text)} bytes came where the kernel gives two lines")
    if text.count(b"\n") < 1 or not text.rstrip(b"\n").partition(b"\n")[2]:
        raise ShortError(
            "the kernel gave less than two lines: the sensor did not respond"
        )
    match = _TEXT.fullmatch(text)
    if match is None:
        raise FramingError("the file is not the kernel's text of such a sensor")
    first, _, verdict, second, _ = match.groups()
    if verdict == b"NO":
        raise CrcError("the kernel found a wrong checksum")
    if first != second:
        raise FramingError("the bytes of the two lines differ")
    return decode(bytes.fromhex(first.decode()))


def judge(temp_c: float) -> list[Sample]:
    """Judge a temperature.

    Raises:
        NotMeasuredError: the value that the part wakes up with.
    """
    if temp_c == POWER_ON_C:
        raise NotMeasuredError(
            f"it reports {POWER_ON_C:g} °C, the value it starts with: check its power "
            "wire"
        )
    return [Sample("temp_c", temp_c)]


class Ds18b20:
    """Codec of one DS18B20; see `StreamPart`.  Each feed is one reading of the file."""

    def opening(self) -> bytes:
        """Send nothing: a file is read."""
        return b""

    def request(self) -> bytes:
        """Send nothing: the reading itself starts a conversion."""
        return b""

    def feed(self, data: bytes) -> list[Sample]:
        """Take the whole text of the file.

        Raises:
            NotMeasuredError: the value that the part wakes up with.
            DriverError: see `decode_text`.
        """
        return judge(decode_text(data))

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


make = opt.no_options(Ds18b20)
IDENTIFY = None
"""The kernel itself tells the part: its directory begins with 28."""
PART = PartInfo(
    name="ds18b20",
    title="temperature sensor (DS18B20)",
    bus="file",
    gives={
        # Resolution: one step.  Noise: half a step (own figure).  Lag: of its steel
        # sleeve (common practice, no source).  Stuck: still glass holds a step of
        # 0.06 °C for a long time; three hours is room (own figure).
        "temp_c": Gives(STEP_C, 0.03, 30.0, 10800.0, 2.0),
    },
    make=make,
    interval_s=10.0,
    max_age_s=30.0,
    # 750 ms for the first conversion.
    warm_up_s=2.0,
    service_years=0.0,
    range_c=RANGE_C,
)
