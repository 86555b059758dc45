"""INA226: supply voltage and current on I2C.

Sources: TI INA226 data sheet SBOS547 (table and page beside each constant), as gathered
in the project's sensor notes, section 8.  The part has no checksum: its identity and
setting are read with every poll.  Current comes from the shunt's voltage, not from the
current register, which stays 0 after a reset.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import (
    check_identity,
    check_settings,
    read,
    signed16,
    sized,
)
from cabinvigil.drivers.kit.steps import (
    Gives,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.supply_monitor import (
    INA226_IDENTITY,
    check_monitor,
    current_sample,
    which,
)

# Registers (table 7-1).
CONFIG = 0x00
SHUNT = 0x01
BUS = 0x02
IDENTITY = INA226_IDENTITY

CONTINUOUS = b"\x45\x27"
"""Sixteen readings averaged, 1.1 ms each, shunt and bus in turn, without end; 4127
after a reset (table 7-1, averaging bits unverified)."""
CONVERT_S = 0.05
"""16 x 2 x 1.1 ms = 35 ms, with room."""
SHUNT_STEP_MV = 0.0025
BUS_STEP_V = 0.00125
"""Steps (table 1, p. 16)."""
SHUNT_ENDS = (-0x8000, 0x7FFF)
MOST_V = 36.0
"""Voltage that the part bears (public library; unverified)."""
SHUNT_MOHM = 2.0
"""The data sheet's own example (p. 14)."""


def decode_bus(reply: bytes) -> float:
    """Decode the supply voltage in V.

    Raises:
        ShortError, LengthError: not two bytes.
        OutOfRangeError: the top bit, which is always 0, is set: the line is open; or
            more than the part bears.
    """
    raw = signed16(sized(reply, 2, "bus register"))
    volts = raw * BUS_STEP_V
    if raw < 0 or volts > MOST_V:
        raise OutOfRangeError(f"the bus register reads {reply.hex()}: no such voltage")
    return volts


def decode_shunt(reply: bytes) -> float:
    """Decode the shunt's voltage in mV.

    Raises:
        ShortError, LengthError: not two bytes.
    """
    return signed16(sized(reply, 2, "shunt register")) * SHUNT_STEP_MV


class Ina226:
    """Codec of one INA226; see `PolledPart`."""

    def __init__(self, shunt_mohm: float) -> None:
        self._shunt_mohm = shunt_mohm

    def setup(self) -> Setup:
        """Check the identity and set continuous, averaged readings.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError: an answer has another size.
        """
        yield from check_monitor("ina226")
        yield Transfer(bytes([CONFIG]) + CONTINUOUS, 0, CONVERT_S)

    def poll(self) -> Steps:
        """Check identity and setting, then read both voltages.

        Raises:
            WrongPartError: another part answers, or the line is dead.
            NotMeasuredError: the part has lost its setting.
            OutOfRangeError: a voltage that cannot be.
            ShortError, LengthError: an answer has another size.
        """
        yield from _check_identity()
        config = yield from read(CONFIG, 2, "config register")
        check_settings(config, CONTINUOUS, "config register")
        bus = yield from read(BUS, 2, "bus register")
        shunt = yield from read(SHUNT, 2, "shunt register")
        volts = Sample("supply_v", decode_bus(bus))
        current = current_sample(
            signed16(shunt), SHUNT_STEP_MV, SHUNT_ENDS, self._shunt_mohm
        )
        return [volts, current]

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def _check_identity() -> Setup:
    for register, want in IDENTITY.items():
        got = yield from read(register, 2, f"identity register {register:02x}")
        check_identity(got, want, f"identity register {register:02x}")


def identify() -> Identify:
    """Return whether an INA226 answers, by its identity registers."""
    return (yield from which()) == "ina226"


def make(options: Mapping[str, Any]) -> Ina226:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Ina226(opt.number(options, "shunt_mohm", SHUNT_MOHM, 0.1, 1000.0))


IDENTIFY = identify
PART = PartInfo(
    name="ina226",
    title="power monitor (INA226)",
    bus="i2c",
    gives={
        # Resolution: one step, at 2 mOhm.  Noise: below a step, sixteen readings being
        # averaged (own figure).  Lag: the averaging.  Stuck: a resting battery may
        # stand on one step of 1.25 mV for hours; a day is not (own figure).  Jump: a
        # load may take volts at once.
        "supply_v": Gives(0.00125, 0.001, 0.05, 86400.0, 40.0),
        "supply_a": Gives(0.00125, 0.001, 0.05, 86400.0, 100.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    warm_up_s=1.0,
    address=0x40,
    # 44 to 46 are the SHT4x's, 48 to 4b the converters' (sensor notes, rule 8).
    addresses=tuple(range(0x40, 0x50)),
    options={"shunt_mohm": "the milliohms printed on the shunt, 0.1 to 1000 (2)"},
    service_years=0.0,
    range_c=(-40.0, 125.0),
)
