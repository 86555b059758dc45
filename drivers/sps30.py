"""SPS30: fine dust by scattered laser light, on I2C.

Sources: Sensirion SPS30 data sheet v1.0 D1 and public drivers, as gathered in the
project's sensor notes, section 5.
"""

import math
import struct
from dataclasses import dataclass

from cabinvigil.drivers.kit import dust
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.probe import Identify, answers
from cabinvigil.drivers.kit.steps import (
    Gives,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.words import ask, command, words

START = 0x0010
AS_FLOATS = 0x0300
STOP = 0x0104
DATA_READY = 0x0202
READ = 0x0300
STATUS = 0xD206
SHORT_S = 0.001
MODE_S = 0.020
"""Start and stop take less than 20 ms (unverified)."""
FLOATS = 10
WORDS = 2 * FLOATS
FAN_SPEED_BIT, LASER_BIT, FAN_BIT = 21, 5, 4
"""Bits of the status that tell a fault (public driver quoting the data sheet)."""


@dataclass(frozen=True, slots=True)
class Sps30Reading:
    """What one answer says: mass in µg/m³, numbers a cm³, typical size in µm."""

    pm1: float
    pm2_5: float
    pm4: float
    pm10: float
    n0_5: float
    n1: float
    n2_5: float
    n4: float
    n10: float
    typical_um: float


@dataclass(frozen=True, slots=True)
class DeviceStatus:
    """Which faults the part tells of itself."""

    fan_speed: bool
    """The fan does not keep its speed."""
    laser: bool
    """The laser's current is out of range."""
    fan: bool
    """The fan is driven but does not turn."""


def decode(reply: bytes) -> Sps30Reading:
    """Decode the sixty bytes of a measurement.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
        OutOfRangeError: not numbers, or negative ones.
    """
    raw = b"".join(word.to_bytes(2, "big") for word in words(reply, WORDS))
    values = struct.unpack(f">{FLOATS}f", raw)
    if not all(math.isfinite(value) and value >= 0 for value in values):
        raise OutOfRangeError("the reply holds values that are not amounts")
    return Sps30Reading(*values)


def decode_status(reply: bytes) -> DeviceStatus:
    """Decode the status register.

    Raises:
        ShortError, LengthError, CrcError: see `words`.
    """
    high, low = words(reply, 2)
    bits = high << 16 | low
    return DeviceStatus(
        fan_speed=bool(bits >> FAN_SPEED_BIT & 1),
        laser=bool(bits >> LASER_BIT & 1),
        fan=bool(bits >> FAN_BIT & 1),
    )


def check_status(status: DeviceStatus) -> None:
    """Check the part's own verdict.

    Raises:
        NotMeasuredError: fan or laser fail.
    """
    if status.fan:
        raise NotMeasuredError("its fan is blocked: clean its inlet")
    if status.laser:
        raise NotMeasuredError("its laser fails: replace it")
    if status.fan_speed:
        raise NotMeasuredError("its fan does not keep its speed: clean its inlet")


def samples(reading: Sps30Reading, air: Conditions) -> list[Sample]:
    """Judge a reading.

    Raises:
        NotMeasuredError: nothing at all, as before the fan has spun up.
        OutOfRangeError: more than dust can be, or less coarse dust than fine.
    """
    if reading == Sps30Reading(*[0.0] * FLOATS):
        raise NotMeasuredError("it counts nothing at all: the fan has not spun up")
    masses = (reading.pm1, reading.pm2_5, reading.pm4, reading.pm10)
    if list(masses) != sorted(masses):
        raise OutOfRangeError("it finds less dust up to a larger size than a smaller")
    return [
        dust.dust_sample("pm2_5_ugm3", reading.pm2_5, air),
        dust.dust_sample("pm10_ugm3", reading.pm10, air),
    ]


class Sps30:
    """Codec of one SPS30; see `PolledPart`."""

    def __init__(self) -> None:
        self._air = dust.conditions()

    def setup(self) -> Setup:
        """Stop, then measure without end.

        A part put to sleep by other software must be powered off and on: the first
        word to a sleeping part is refused, which a bus cannot tell from no part.

        Raises:
            ShortError, LengthError, CrcError: its status cannot be read.
        """
        yield Transfer(command(STOP), 0, MODE_S)
        yield from ask(STATUS, 2, SHORT_S)
        yield Transfer(command(START, AS_FLOATS), 0, MODE_S)

    def poll(self) -> Steps:
        """Check the part's own verdict, then read if a measurement waits.

        Raises:
            NotMeasuredError: fan or laser fail, or nothing is counted.
            NotReadyError: no measurement waits; the part makes one a second.
            OutOfRangeError: see `samples`.
            ShortError, LengthError, CrcError: an answer cannot be read.
        """
        check_status(decode_status((yield Transfer(command(STATUS), 6, SHORT_S))))
        (ready,) = yield from ask(DATA_READY, 1, SHORT_S)
        if not ready & 1:
            raise NotReadyError(
                "no measurement is ready yet; the sensor makes one a second"
            )
        reply = yield Transfer(command(READ), 3 * WORDS, SHORT_S)
        return samples(decode(reply), self._air)

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity, to tell mist from dust."""
        self._air.inform(quantity, value)


def identify() -> Identify:
    """Return whether an SPS30 answers, by its status and checksums."""
    return answers(ask(STATUS, 2, SHORT_S))


make = opt.no_options(Sps30)
IDENTIFY = identify
PART = PartInfo(
    name="sps30",
    title="fine dust sensor (SPS30)",
    bus="i2c",
    gives={
        # Precision 10 µg/m³ up to 100 (data sheet), of which about 1 is noise of a
        # reading (own figure).  Lag: one second (own figure).  Stuck: five minutes; the
        # fan's cleaning holds values for 10 s a week.  Jump: smoke comes at once.
        "pm2_5_ugm3": Gives(0.01, 1.0, 2.0, 300.0, 3000.0),
        "pm10_ugm3": Gives(0.01, 1.0, 2.0, 300.0, 5000.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=20.0,
    # Up to 30 s after a start (unverified).
    warm_up_s=30.0,
    address=0x69,
    addresses=(0x69,),
    # Life of more than ten years (data sheet).
    service_years=10.0,
    range_c=dust.RANGE_C,
)
