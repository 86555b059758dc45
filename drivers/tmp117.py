"""TMP117: temperature, of the glass or the air outside, on I2C.

Sources: TI TMP117 data sheet SNOSD82D, table 7-1 and register map, as gathered in the
project's sensor notes, section 9.  The part has no checksum, and a dead line reads as
-0.0078 °C, a plausible winter window: the identity is read with every poll.
"""

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.probe import Identify, register_reads
from cabinvigil.drivers.kit.registers import (
    check_identity,
    check_settings,
    read,
    signed16,
    sized,
)
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

TEMPERATURE = 0x00
CONFIG = 0x01
IDENTITY = 0x0F
IS_TMP117 = b"\x01\x17"
CONTINUOUS = b"\x02\x20"
"""One reading a second, the mean of eight; also the setting after power-up."""
SETTING_BITS = 0x0FFC
"""Bits that are settings; the others are flags (unverified)."""
DATA_READY = 0x2000
"""A new reading since the register was last read."""
STEP_C = 0.0078125
NOT_YET = b"\x80\x00"
"""Before the first reading: -256 °C."""
UNDRIVEN = b"\xff\xff"
RANGE_C = (-55.0, 150.0)
"""What the part can measure (data sheet, cover; the ends unverified)."""


def decode(reply: bytes) -> float:
    """Decode the temperature in °C.

    Raises:
        ShortError, LengthError: not two bytes.
        NotMeasuredError: the value before the first reading.
        OutOfRangeError: a temperature that the part cannot measure.
    """
    sized(reply, 2, "temperature register")
    if reply == NOT_YET:
        raise NotMeasuredError("it has not measured since power-up")
    temp_c = signed16(reply) * STEP_C
    if not RANGE_C[0] <= temp_c <= RANGE_C[1]:
        raise OutOfRangeError(
            f"it reports {temp_c:.1f} °C, outside {RANGE_C[0]:g} to {RANGE_C[1]:g} °C"
        )
    return temp_c


class Tmp117:
    """Codec of one TMP117; see `PolledPart`."""

    def setup(self) -> Setup:
        """Check the identity and set a reading a second.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError: an answer has another size.
        """
        yield from _check_identity()
        yield Transfer(bytes([CONFIG]) + CONTINUOUS)

    def poll(self) -> Steps:
        """Check identity and setting, then read; twice the identity behind ff ff.

        Raises:
            WrongPartError: another part answers, or the line is dead.
            NotReadyError: no reading since the last.
            NotMeasuredError, OutOfRangeError: see `decode`.
            ShortError, LengthError: an answer has another size.
        """
        yield from _check_identity()
        config = yield from read(CONFIG, 2, "config register")
        word = int.from_bytes(config, "big")
        check_settings(
            (word & SETTING_BITS).to_bytes(2, "big"), CONTINUOUS, "config register"
        )
        if not word & DATA_READY:
            raise NotReadyError("no reading since the last one")
        reply = yield from read(TEMPERATURE, 2, "temperature register")
        if reply == UNDRIVEN:
            yield from _check_identity()
        return [Sample("temp_c", decode(reply))]

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _check_identity() -> Setup:
    got = yield from read(IDENTITY, 2, "identity register")
    check_identity(got, IS_TMP117, "identity register")


def identify() -> Identify:
    """Return whether a TMP117 answers, by its identity register."""
    return register_reads(IDENTITY, IS_TMP117)


make = opt.no_options(Tmp117)
IDENTIFY = identify
PART = PartInfo(
    name="tmp117",
    title="temperature sensor (TMP117)",
    bus="i2c",
    gives={
        # Resolution: one step.  Noise: one step (unverified).  Lag: the glass it sits
        # on (own figure).  Stuck: still glass holds a step of 8 mK for some minutes;
        # an hour is room (own figure).
        "temp_c": Gives(STEP_C, 0.008, 20.0, 3600.0, 2.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # The first mean of eight takes a second.
    warm_up_s=2.0,
    address=0x49,
    addresses=(0x48, 0x49, 0x4A, 0x4B),
    service_years=0.0,
    range_c=RANGE_C,
)
