"""INA228: supply voltage and current on I2C, up to 85 V and by 20 bits.

Sources: TI INA228 data sheet SLYS021 (unverified; registers, steps and bits as in two
public libraries).  The part has no checksum on its wire: its identity and settings are
read with every poll; of its own memory it shows whether that is whole.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import check_settings, read, sized
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
from cabinvigil.drivers.kit.supply_monitor import check_monitor, current_sample, which

CONFIG = 0x00
ADC_CONFIG = 0x01
SHUNT = 0x04
BUS = 0x05
FLAGS = 0x0B
WIDE = b"\x00\x00"
"""163.84 mV over the shunt, no delay."""
CONTINUOUS = b"\xfb\x6a"
"""Temperature, bus and shunt in turn, 1.052 ms each, sixteen averaged, without end."""
CONVERT_S = 0.080
"""16 x 3 x 1.052 ms = 50.5 ms, with room."""
SHUNT_STEP_MV = 0.0003125
BUS_STEP_V = 0.0001953125
SHUNT_ENDS = (-(1 << 19), (1 << 19) - 1)
OVERFLOW, READY, MEMORY_WHOLE = 0x0200, 0x0002, 0x0001
"""Flags: arithmetic past its end, a conversion has ended, the memory is whole."""
MOST_V = 85.0
"""Voltage that the part bears."""
SHUNT_MOHM = 15.0
"""What the usual board carries (a public library's own value)."""


def decode20(reply: bytes, what: str) -> int:
    """Decode twenty bits with their sign, above four that are always 0.

    Raises:
        ShortError, LengthError: not three bytes.
        OutOfRangeError: one of the four is set: no part answers, or its line is open.
    """
    word = int.from_bytes(sized(reply, 3, what), "big", signed=True)
    if word & 0x0F:
        raise OutOfRangeError(f"the {what} reads {reply.hex()}, which it never does")
    return word >> 4


def decode_bus(reply: bytes) -> float:
    """Decode the supply voltage in V.

    Raises:
        ShortError, LengthError: not three bytes.
        OutOfRangeError: below nothing, or more than the part bears.
    """
    volts = decode20(reply, "bus register") * BUS_STEP_V
    if not 0.0 <= volts <= MOST_V:
        raise OutOfRangeError(f"the bus register reads {reply.hex()}: no such voltage")
    return volts


class Ina228:
    """Codec of one INA228; see `PolledPart`."""

    def __init__(self, shunt_mohm: float) -> None:
        self._shunt_mohm = shunt_mohm

    def setup(self) -> Setup:
        """Check the identity and set continuous, averaged readings.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError: an answer has another size.
        """
        yield from check_monitor("ina228")
        yield Transfer(bytes([CONFIG]) + WIDE)
        yield Transfer(bytes([ADC_CONFIG]) + CONTINUOUS, 0, CONVERT_S)

    def poll(self) -> Steps:
        """Check settings and flags, then read both voltages.

        Raises:
            NotMeasuredError: the part has lost its settings, its line is dead, or its
                own memory is damaged.
            NotReadyError: no conversion has ended since the last poll.
            OutOfRangeError: a voltage that cannot be.
            ShortError, LengthError: an answer has another size.
        """
        config = yield from read(CONFIG, 2, "config register")
        check_settings(config, WIDE, "config register")
        adc = yield from read(ADC_CONFIG, 2, "adc register")
        check_settings(adc, CONTINUOUS, "adc register")
        flags = int.from_bytes((yield from read(FLAGS, 2, "flags register")), "big")
        if not flags & MEMORY_WHOLE:
            raise NotMeasuredError("its own memory is damaged: replace it")
        if not flags & READY:
            raise NotReadyError("no conversion has ended yet")
        volts = decode_bus((yield from read(BUS, 3, "bus register")))
        raw = decode20((yield from read(SHUNT, 3, "shunt register")), "shunt register")
        current = current_sample(raw, SHUNT_STEP_MV, SHUNT_ENDS, self._shunt_mohm)
        if flags & OVERFLOW and current.quality == "good":
            why = "the sensor reports that its current overflows"
            current = Sample("supply_a", current.value, "outside-range", why)
        return [Sample("supply_v", volts), current]

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def identify() -> Identify:
    """Return whether an INA228 answers, by its identity registers."""
    return (yield from which()) == "ina228"


def make(options: Mapping[str, Any]) -> Ina228:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Ina228(opt.number(options, "shunt_mohm", SHUNT_MOHM, 0.1, 1000.0))


IDENTIFY = identify
PART = PartInfo(
    name="ina228",
    title="power monitor (INA228)",
    bus="i2c",
    gives={
        # Resolution: one step, at 15 mOhm.  Noise: below what is kept, sixteen readings
        # being averaged (own figure).  The rest as for the INA226.
        "supply_v": Gives(0.0002, 0.0002, 0.1, 86400.0, 40.0),
        "supply_a": Gives(0.00002, 0.0001, 0.1, 86400.0, 100.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    warm_up_s=1.0,
    address=0x40,
    addresses=tuple(range(0x40, 0x50)),
    options={"shunt_mohm": "the milliohms printed on the shunt, 0.1 to 1000 (15)"},
    service_years=0.0,
    range_c=(-40.0, 125.0),
)
