"""The frame of 32 bytes in which dust sensors of one maker tell, on any wire.

Sources: Plantower PMS7003 manual V2.5, 2016, and public libraries, as gathered in the
project's sensor notes, section 6.
"""

import struct
from dataclasses import dataclass

from cabinvigil.drivers.kit import dust
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.crc import sum16
from cabinvigil.drivers.kit.steps import (
    CrcError,
    FramingError,
    LengthError,
    NotMeasuredError,
    Sample,
    ShortError,
)

START = b"\x42\x4d"
SIZE = 32
STATED_SIZE = 28
"""What the frame's length field says: the bytes behind it."""


@dataclass(frozen=True, slots=True)
class PmReading:
    """What one frame says: mass in µg/m³ by two laws, and particles in 0.1 litre."""

    pm1_cf1: int
    pm2_5_cf1: int
    pm10_cf1: int
    pm1_atm: int
    pm2_5_atm: int
    pm10_atm: int
    n0_3: int
    n0_5: int
    n1_0: int
    n2_5: int
    n5_0: int
    n10: int


def check(frame: bytes) -> None:
    """Check size, start, stated length and sum.

    Raises:
        ShortError, LengthError: not 32 bytes, or another length is stated: older and
            other makers' frames are refused, not guessed at.
        FramingError: it does not begin with 42 4d.
        CrcError: the sum does not fit.
    """
    if len(frame) < SIZE:
        raise ShortError(f"{len(frame)} bytes came where a frame has {SIZE}")
    if len(frame) > SIZE:
        raise LengthError(f"{len(frame)} bytes came where a frame has {SIZE}")
    if frame[:2] != START:
        raise FramingError(
            f"the frame begins with {frame[:2].hex()}, not {START.hex()}"
        )
    stated = int.from_bytes(frame[2:4], "big")
    if stated != STATED_SIZE:
        raise LengthError(f"the frame states {stated} bytes, this sensor {STATED_SIZE}")
    if frame[30:] != sum16(frame[:30]).to_bytes(2, "big"):
        raise CrcError(
            f"the sum is {frame[30:].hex()}, its bytes give {sum16(frame[:30]):04x}"
        )


def decode(frame: bytes) -> PmReading:
    """Decode one frame.

    Raises:
        ShortError, LengthError, FramingError, CrcError: see `check`.
    """
    check(frame)
    return PmReading(*struct.unpack(">12H", frame[4:28]))


def samples(reading: PmReading, air: Conditions) -> list[Sample]:
    """Judge a frame, by the law for the open air.

    Raises:
        NotMeasuredError: not one particle, which no air has.
        OutOfRangeError: more than dust can be.
    """
    if reading.n0_3 == 0:
        raise NotMeasuredError(
            "it counts not one particle: its fan does not turn, or its laser is dead"
        )
    return [
        dust.dust_sample("pm2_5_ugm3", float(reading.pm2_5_atm), air),
        dust.dust_sample("pm10_ugm3", float(reading.pm10_atm), air),
    ]
