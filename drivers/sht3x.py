"""SHT3x: temperature and relative humidity on I2C, the SHT4x's elder.

Sources: Sensirion SHT3x-DIS data sheet (unverified: tables 4, 9, 14 and 18, section
4.13), commands confirmed by two public libraries.
"""

from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.humid_air import (
    RANGE_C,
    STEP_C,
    temp_sample,
    temperature_c,
)
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.steps import (
    DriverError,
    FramingError,
    Gives,
    NotMeasuredError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.words import ask, command, words

MEASURE_HIGH = 0x2400
"""Once, with high repeatability, without holding the clock."""
STOP = 0x3093
SOFT_RESET = 0x30A2
STATUS = 0xF32D
MEASURE_S = 0.020
"""15.5 ms at the longest (table 4), with room."""
RESET_S = 0.003
"""1.5 ms (table 4), doubled; stopping takes 1 ms."""
SHORT_S = 0.001
NEVER_SET = 0x500C
"""Bits of the status that are reserved and read 0 (table 18)."""
HEATER_ON = 0x2000


@dataclass(frozen=True, slots=True)
class Sht3xReading:
    """What one answer says."""

    temp_c: float
    rh_pct: float
    """From 0 to 100, by the formula; 100 is its end."""


def decode(reply: bytes) -> Sht3xReading:
    """Decode the six bytes of a measurement (section 4.13).

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    temp, humidity = words(reply, 2)
    return Sht3xReading(temperature_c(temp), 100.0 * humidity / 65535)


def check_status(status: int) -> None:
    """Check what the part says of itself.

    Raises:
        FramingError: bits are set that never are: it is another part.
        NotMeasuredError: its heater is on, so it measures itself.
    """
    if status & NEVER_SET:
        raise FramingError(f"its status {status:04x} has bits that an SHT3x never sets")
    if status & HEATER_ON:
        raise NotMeasuredError("its heater is on: switch its power off and on")


def samples(reading: Sht3xReading) -> list[Sample]:
    """Judge a reading.

    Raises:
        OutOfRangeError: a temperature that the part cannot measure.
    """
    humidity = Sample("rh_pct", reading.rh_pct)
    if reading.rh_pct >= 100.0:
        humidity = Sample("rh_pct", 100.0, "at-least", "the sensor is wet")
    return [temp_sample(reading.temp_c), humidity]


class Sht3x:
    """Codec of one SHT3x; see `PolledPart`."""

    def setup(self) -> Setup:
        """Stop what other software began, reset, and see that it answers.

        Raises:
            ShortError, LengthError, CrcError: its status cannot be read.
            FramingError: another part answers.
            NotMeasuredError: its heater stays on.
        """
        yield Transfer(command(STOP), 0, RESET_S)
        yield Transfer(command(SOFT_RESET), 0, RESET_S)
        (status,) = yield from ask(STATUS, 1, SHORT_S)
        check_status(status)

    def poll(self) -> Steps:
        """Measure with high repeatability.

        Raises:
            ShortError, LengthError, CrcError: the answer cannot be read.
            OutOfRangeError: a temperature that the part cannot measure.
        """
        reply = yield Transfer(command(MEASURE_HIGH), 6, MEASURE_S)
        return samples(decode(reply))

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def identify() -> Identify:
    """Return whether an SHT3x answers, by its status and its checksum.

    An SHT4x, at the same addresses, knows commands of one byte alone.
    """
    try:
        (status,) = yield from ask(STATUS, 1, SHORT_S)
    except DriverError:
        return False
    return status & NEVER_SET == 0


make = opt.no_options(Sht3x)
IDENTIFY = identify
PART = PartInfo(
    name="sht3x",
    title="humidity and temperature sensor (SHT3x)",
    bus="i2c",
    gives={
        # Noise: repeatability 0.04 °C, 0.08 % (table 1, unverified).  Lag: RH 8 s,
        # temperature 2 s (unverified), longer in a housing.  Stuck: as for the SHT4x.
        "temp_c": Gives(STEP_C, 0.04, 5.0, 600.0, 2.0),
        # Accuracy: 2 %, of the SHT30 3 past 90, and two years' drift of 0.25 (from
        # memory).
        "rh_pct": Gives(100 / 65535, 0.08, 8.0, 600.0, 20.0, 100.0, accuracy=3.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    warm_up_s=1.0,
    address=0x44,
    addresses=(0x44, 0x45),
    # No wear-out named; drift is below 0.25 % a year (unverified).
    service_years=0.0,
    range_c=RANGE_C,
)
