"""SHT4x: temperature and relative humidity on I2C.

Sources: Sensirion SHT4x data sheet as gathered in the project's sensor notes, section
2; commands confirmed by two public libraries.
"""

from dataclasses import dataclass

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.humid_air import (
    RANGE_C,
    STEP_C,
    temp_sample,
    temperature_c,
)
from cabinvigil.drivers.kit.probe import Identify, answers
from cabinvigil.drivers.kit.steps import (
    Gives,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.words import Ask, words

MEASURE_HIGH = 0xFD
SERIAL_NUMBER = 0x89
SOFT_RESET = 0x94
MEASURE_S = 0.010
"""Longest high-precision measurement is 8.3 ms; the pseudo code waits 10 ms."""
RESET_S = 0.002
"""Soft reset takes 1 ms; doubled."""
SERIAL_S = 0.001


@dataclass(frozen=True, slots=True)
class Sht4xReading:
    """What one answer says."""

    temp_c: float
    rh_pct: float
    """As the formula gives it: above 100 the sensor is wet; not cropped."""


def decode(reply: bytes) -> Sht4xReading:
    """Decode the six bytes of a measurement (data sheet, pseudo code).

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    temp, humidity = words(reply, 2)
    return Sht4xReading(
        temp_c=temperature_c(temp),
        rh_pct=-6.0 + 125.0 * humidity / 65535,
    )


def samples(reading: Sht4xReading) -> list[Sample]:
    """Judge a reading.

    Raises:
        OutOfRangeError: a temperature that the part cannot measure.
    """
    return [temp_sample(reading.temp_c), Sample("rh_pct", reading.rh_pct)]


class Sht4x:
    """Codec of one SHT4x; see `PolledPart`."""

    def setup(self) -> Setup:
        """Reset the part, which also ends a heater pulse, and see that it answers.

        Raises:
            ShortError, LengthError, CrcError: its serial number cannot be read.
        """
        yield Transfer(bytes([SOFT_RESET]), 0, RESET_S)
        yield from _serial()

    def poll(self) -> Steps:
        """Measure with high precision.

        Raises:
            ShortError, LengthError, CrcError: the answer cannot be read.
            OutOfRangeError: a temperature that the part cannot measure.
        """
        reply = yield Transfer(bytes([MEASURE_HIGH]), 6, MEASURE_S)
        return samples(decode(reply))

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _serial() -> Ask:
    reply = yield Transfer(bytes([SERIAL_NUMBER]), 6, SERIAL_S)
    return words(reply, 2)


def identify() -> Identify:
    """Return whether an SHT4x answers, by its serial number and checksums."""
    return answers(_serial())


make = opt.no_options(Sht4x)
IDENTIFY = identify
PART = PartInfo(
    name="sht4x",
    title="humidity and temperature sensor (SHT4x)",
    bus="i2c",
    gives={
        # Noise: repeatability 0.04 °C, 0.08 % (unverified).  Lag: RH 6 s (data sheet);
        # temperature 2 s (unverified), longer in a housing.  Stuck: live words flicker
        # at each reading; ten minutes is far beyond that (own figure).
        "temp_c": Gives(STEP_C, 0.04, 5.0, 600.0, 2.0),
        # Accuracy: 1.5 % of the older ones, and two years' drift of 0.25 (data sheet).
        "rh_pct": Gives(125 / 65535, 0.08, 6.0, 600.0, 20.0, 100.0, accuracy=2.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    warm_up_s=1.0,
    address=0x44,
    addresses=(0x44, 0x45, 0x46),
    # No wear-out named; drift is below 0.25 % a year (data sheet).
    service_years=0.0,
    range_c=RANGE_C,
)
