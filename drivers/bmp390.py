"""BMP390: air pressure and temperature on I2C, the steadiest of its maker's.

Sources: Bosch Sensortec BMP390 data sheet BST-BMP390-DS002 (unverified: sections 3.9,
4 and 8), registers and formulas as in two public libraries.  The part has no checksum:
its settings are read back with every measurement.
"""

import struct
from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.barometer import (
    LATER_IDENTITY,
    RANGE_C,
    RESET_S,
    RESET_WORD,
    air_samples,
    answers_as,
    check_kind,
    read_twice,
    unread,
)
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import Bytes, check_settings, read, sized
from cabinvigil.drivers.kit.steps import (
    Gives,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    PartInfo,
    Setup,
    Steps,
    Transfer,
)

ERROR = 0x02
"""Then the status at 03, and the six data bytes 04 to 09, pressure first."""
POWER = 0x1B
"""Then oversampling at 1c, rate at 1d, one reserved, and the filter at 1f."""
OVERSAMPLING, FILTER = 0x1C, 0x1F
CALIBRATION = 0x31
BLOCK = struct.Struct("<HHbhhbbHHbbhbb")
"""T1 to T3 and P1 to P11, low byte first (section 3.11.1)."""
EXPONENTS_T = (8, -30, -48)
EXPONENTS_P = (-20, -29, -32, -37, 3, -6, -8, -15, -48, -48, -65)
"""By which power of two each constant is scaled (section 8.4)."""
COMMAND = 0x7E

FORCED, ASLEEP = 0x13, 0x03
"""Both on and one measurement now; and what is left when it is done."""
FOUR_TIMES = 0x02
"""Pressure four times, temperature once: what noise is left, some 1.2 Pa, is more than
the hundredth of a hPa that is kept, so that a live part flickers."""
NO_FILTER = 0x00
MEASURE_S = 0.020
"""0.234 + 0.392 + 4 x 2.02 + 0.163 + 2.02 = 10.9 ms (section 3.9.2), with room."""
BOTH_READY = 0x60
BROKEN = 0x05
"""Bits of the error register: fatal, and a setting that it cannot keep."""
SKIPPED = 0x800000
"""What the data registers hold before a measurement."""
DATA_SIZE = 6


@dataclass(frozen=True, slots=True)
class Bmp390Trim:
    """The part's own constants, scaled (section 8.4)."""

    t: tuple[float, ...]
    p: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Bmp390Reading:
    """What one measurement says."""

    temp_c: float
    pressure_hpa: float


def decode_constants(block: bytes) -> Bmp390Trim:
    """Decode and scale the constants.

    Raises:
        ShortError, LengthError: the block has another size.
        OutOfRangeError: constants that no part has, such as those of a dead line.
    """
    raw = BLOCK.unpack(sized(block, BLOCK.size, "calibration block"))
    t1, p5 = raw[0], raw[7]
    if t1 in (0, 0xFFFF) or p5 in (0, 0xFFFF):
        raise OutOfRangeError(
            f"its constants T1 {t1} and P5 {p5} are from no known sensor"
        )
    p1, p2 = raw[3] - 16384, raw[4] - 16384
    return Bmp390Trim(
        _scaled(raw[:3], EXPONENTS_T), _scaled((p1, p2, *raw[5:]), EXPONENTS_P)
    )


def _scaled(raw: tuple[int, ...], powers: tuple[int, ...]) -> tuple[float, ...]:
    return tuple(one * 2.0**power for one, power in zip(raw, powers, strict=True))


def decode(data: bytes, trim: Bmp390Trim) -> Bmp390Reading:
    """Decode the six data bytes 04 to 09 with the part's constants (section 8.5, 8.6).

    Raises:
        ShortError, LengthError: not six bytes.
        NotMeasuredError: it holds what it holds before a measurement.
    """
    sized(data, DATA_SIZE, "data")
    raw_p = int.from_bytes(data[:3], "little")
    raw_t = int.from_bytes(data[3:], "little")
    if raw_p == raw_t == SKIPPED:
        raise NotMeasuredError("it holds the values of a sensor that has not measured")
    t1, t2, t3 = trim.t
    above = raw_t - t1
    temp = above * t2 + above * above * t3
    p1, p2, p3, p4, p5, p6, p7, p8, p9, p10, p11 = trim.p
    offset = p5 + temp * (p6 + temp * (p7 + temp * p8))
    slope = p1 + temp * (p2 + temp * (p3 + temp * p4))
    bend = p9 + temp * p10 + raw_p * p11
    return Bmp390Reading(temp, (offset + raw_p * (slope + raw_p * bend)) / 100)


class Bmp390:
    """Codec of one BMP390; see `PolledPart`."""

    def __init__(self) -> None:
        self._trim: Bmp390Trim | None = None

    def setup(self) -> Setup:
        """Check the identity, reset, read the constants twice, and set it.

        Raises:
            WrongPartError: another part answers, such as an older sister.
            FramingError: two readings of the constants differ.
            OutOfRangeError: the constants are no part's.
            ShortError, LengthError: an answer has another size.
        """
        yield from check_kind("bmp390", LATER_IDENTITY)
        yield Transfer(bytes([COMMAND, RESET_WORD]), 0, RESET_S)
        self._trim = decode_constants((yield from read_twice(_constants)))
        yield Transfer(bytes([OVERSAMPLING, FOUR_TIMES]))
        yield Transfer(bytes([FILTER, NO_FILTER]))

    def poll(self) -> Steps:
        """Make one measurement, and read the settings that it was made with.

        Raises:
            NotMeasuredError: the part was reset, its line is dead, or it has an
                error of its own.
            NotReadyError: the measurement still runs.
            OutOfRangeError: a value that the part cannot measure.
            ShortError, LengthError: an answer has another size.
        """
        if self._trim is None:
            raise NotMeasuredError("its constants have not been read yet")
        yield Transfer(bytes([POWER, FORCED]), 0, MEASURE_S)
        burst = yield from read(ERROR, 2 + DATA_SIZE, "data")
        power, sampling, _rate, _, filter_ = yield from read(POWER, 5, "settings")
        running = power == FORCED
        check_settings(
            bytes([ASLEEP if running else power, sampling, filter_]),
            bytes([ASLEEP, FOUR_TIMES, NO_FILTER]),
            "settings (1b, 1c, 1f)",
        )
        if burst[0] & BROKEN:
            raise NotMeasuredError(f"it reports an error of its own ({burst[0]:02x})")
        if running or burst[1] & BOTH_READY != BOTH_READY:
            raise NotReadyError("the measurement still runs")
        found = decode(burst[2:], self._trim)
        return air_samples(found.temp_c, found.pressure_hpa)

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _constants() -> Bytes:
    return read(CALIBRATION, BLOCK.size, "calibration block")


def identify() -> Identify:
    """Return whether a BMP390 answers, by its identity register."""
    return answers_as("bmp390", LATER_IDENTITY)


make = opt.no_options(Bmp390)
IDENTIFY = identify
PART = PartInfo(
    name="bmp390",
    title="pressure sensor (BMP390)",
    bus="i2c",
    gives={
        # Noise: 1.2 Pa at four times without the filter (unverified).  Accuracy:
        # 0.5 hPa and a year's drift of 0.16 (unverified), rounded up.  The rest as the
        # older ones'.
        "pressure_hpa": Gives(0.0002, 0.012, 1.0, 600.0, 0.5, accuracy=0.7),
        "temp_c": Gives(0.0001, 0.005, 10.0, 600.0, 2.0),
    },
    make=make,
    interval_s=10.0,
    max_age_s=30.0,
    warm_up_s=1.0,
    address=0x77,
    addresses=(0x76, 0x77),
    sisters={LATER_IDENTITY: unread(LATER_IDENTITY)},
    # No wear-out named; drift of pressure is about 0.16 hPa a year (unverified).
    service_years=0.0,
    range_c=RANGE_C,
)
