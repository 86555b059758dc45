"""BMP280: air pressure and temperature on I2C, the BME280 without its humidity.

Sources: Bosch Sensortec BMP280 data sheet BST-BMP280-DS001 (unverified; registers and
formulas as in two public libraries, and as the BME280's sheet has them).  The part has
no checksum: its settings are read back with every measurement.
"""

from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.barometer import (
    ASLEEP,
    BLOCK,
    CALIBRATION,
    CONFIG,
    CTRL_MEAS,
    FORCED,
    GIVES,
    IDENTITY,
    MEASURE_S,
    NO_FILTER,
    RANGE_C,
    RESET,
    RESET_S,
    RESET_WORD,
    SKIPPED_20,
    Trim,
    air_samples,
    answers_as,
    check_kind,
    check_measured,
    decode_trim,
    fine_temperature,
    pressure_pa,
    raw_pair,
    read_twice,
)
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import Bytes, read, sized
from cabinvigil.drivers.kit.steps import (
    NotMeasuredError,
    PartInfo,
    Setup,
    Steps,
    Transfer,
)

STATUS = 0xF3
BURST_SIZE = 10
"""f3 to fc: status, settings, one reserved and the six data bytes, in one piece."""
DATA_SIZE = 6


@dataclass(frozen=True, slots=True)
class Bmp280Reading:
    """What one measurement says."""

    temp_c: float
    pressure_hpa: float


def decode(data: bytes, trim: Trim) -> Bmp280Reading:
    """Decode the six data bytes f7 to fc with the part's constants.

    Raises:
        ShortError, LengthError: not six bytes.
        NotMeasuredError: it holds the values of skipped measurements.
        OutOfRangeError: the constants make no pressure.
    """
    sized(data, DATA_SIZE, "data")
    raw_p, raw_t = raw_pair(data)
    if raw_p == raw_t == SKIPPED_20:
        raise NotMeasuredError("it holds the values of a sensor that has not measured")
    fine = fine_temperature(raw_t, trim)
    return Bmp280Reading(fine / 5120, pressure_pa(raw_p, fine, trim) / 100)


class Bmp280:
    """Codec of one BMP280; see `PolledPart`."""

    def __init__(self) -> None:
        self._trim: Trim | None = None

    def setup(self) -> Setup:
        """Check the identity, reset, and read the constants twice.

        Raises:
            WrongPartError: another part answers, such as its sister with humidity.
            FramingError: two readings of the constants differ.
            OutOfRangeError: the constants are no part's.
            ShortError, LengthError: an answer has another size.
        """
        yield from check_kind("bmp280", IDENTITY)
        yield Transfer(bytes([RESET, RESET_WORD]), 0, RESET_S)
        self._trim = decode_trim((yield from read_twice(_constants)))
        yield Transfer(bytes([CONFIG, NO_FILTER]))

    def poll(self) -> Steps:
        """Make one measurement and read it together with the settings it was made with.

        Raises:
            NotMeasuredError: the part was reset, its line is dead, or it skipped.
            NotReadyError: the measurement still runs.
            OutOfRangeError: a value that the part cannot measure.
            ShortError, LengthError: an answer has another size.
        """
        if self._trim is None:
            raise NotMeasuredError("its constants have not been read yet")
        yield Transfer(bytes([CTRL_MEAS, FORCED]), 0, MEASURE_S)
        burst = yield from read(STATUS, BURST_SIZE, "data")
        want = bytes([ASLEEP, NO_FILTER])
        check_measured(burst[0], burst[1:3], want, "settings (f4, f5)")
        found = decode(burst[-DATA_SIZE:], self._trim)
        return air_samples(found.temp_c, found.pressure_hpa)

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _constants() -> Bytes:
    return read(CALIBRATION, BLOCK.size, "calibration block")


def identify() -> Identify:
    """Return whether a BMP280 answers, by its identity register."""
    return answers_as("bmp280", IDENTITY)


make = opt.no_options(Bmp280)
IDENTIFY = identify
PART = PartInfo(
    name="bmp280",
    title="pressure sensor (BMP280)",
    bus="i2c",
    gives=GIVES,
    make=make,
    interval_s=10.0,
    max_age_s=30.0,
    warm_up_s=1.0,
    address=0x76,
    addresses=(0x76, 0x77),
    # No wear-out named; drift of pressure is about 1 hPa a year (unverified).
    service_years=0.0,
    range_c=RANGE_C,
)
