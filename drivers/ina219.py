"""INA219: supply voltage and current on I2C, the commonest of the small boards.

Sources: TI INA219 data sheet SBOS448 (unverified; registers, steps and bits as in two
public libraries).  The part names itself nowhere and has no checksum: its setting is
read with every poll.  Current comes from the shunt's voltage, not from the current
register, which stays 0 after a reset.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.probe import Identify
from cabinvigil.drivers.kit.registers import check_settings, read, signed16, sized
from cabinvigil.drivers.kit.steps import (
    Gives,
    NotReadyError,
    PartInfo,
    Sample,
    Setup,
    Steps,
    Transfer,
)
from cabinvigil.drivers.kit.supply_monitor import (
    INA219_SETTINGS,
    check_monitor,
    current_sample,
    which,
)

CONFIG = 0x00
SHUNT = 0x01
BUS = 0x02
CONTINUOUS = INA219_SETTINGS[1]
"""32 V, 320 mV over the shunt, both at sixteen readings averaged, without end."""
RESET = b"\x80\x00"
RESET_S = 0.001
"""It is ready again after 40 us (unverified), with room."""
CONVERT_S = 0.040
"""2 x 8.51 ms, with room."""
SHUNT_STEP_MV = 0.01
BUS_STEP_V = 0.004
SHUNT_ENDS = (-32000, 32000)
"""320 mV either way."""
READY, OVERFLOW = 0x02, 0x01
"""Bits below the bus voltage: a conversion has ended, and current or power is past
what their registers hold."""
MOST_V = 26.0
"""Voltage that the part bears, however far its scale goes."""
SHUNT_MOHM = 100.0
"""What nearly every board carries (common practice, no source)."""


def decode_bus(reply: bytes) -> tuple[float, int]:
    """Decode the supply voltage in V, and the flags below it.

    Raises:
        ShortError, LengthError: not two bytes.
    """
    word = int.from_bytes(sized(reply, 2, "bus register"), "big")
    return (word >> 3) * BUS_STEP_V, word & 0x07


def decode_shunt(reply: bytes) -> int:
    """Decode the shunt's voltage in steps of 10 µV.

    Raises:
        ShortError, LengthError: not two bytes.
    """
    return signed16(sized(reply, 2, "shunt register"))


def voltage_sample(volts: float) -> Sample:
    """Judge the supply voltage."""
    if volts > MOST_V:
        why = f"above {MOST_V:g} V, more than the sensor withstands"
        return Sample("supply_v", volts, "outside-range", why)
    return Sample("supply_v", volts)


class Ina219:
    """Codec of one INA219; see `PolledPart`."""

    def __init__(self, shunt_mohm: float) -> None:
        self._shunt_mohm = shunt_mohm

    def setup(self) -> Setup:
        """Check who answers, and set continuous, averaged readings.

        One that other software has set is not known before it is reset.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError: an answer has another size.
        """
        if not (yield from which()):
            yield Transfer(bytes([CONFIG]) + RESET, 0, RESET_S)
        yield from check_monitor("ina219")
        yield Transfer(bytes([CONFIG]) + CONTINUOUS, 0, CONVERT_S)

    def poll(self) -> Steps:
        """Check the setting, then read both voltages.

        Raises:
            NotMeasuredError: the part has lost its setting, or its line is dead.
            NotReadyError: no conversion has ended.
            ShortError, LengthError: an answer has another size.
        """
        config = yield from read(CONFIG, 2, "config register")
        check_settings(config, CONTINUOUS, "config register")
        bus = yield from read(BUS, 2, "bus register")
        shunt = yield from read(SHUNT, 2, "shunt register")
        volts, flags = decode_bus(bus)
        if not flags & READY:
            raise NotReadyError("no conversion has ended yet")
        current = current_sample(
            decode_shunt(shunt), SHUNT_STEP_MV, SHUNT_ENDS, self._shunt_mohm
        )
        if flags & OVERFLOW and current.quality == "good":
            why = "the sensor reports that its current overflows"
            current = Sample("supply_a", current.value, "outside-range", why)
        return [voltage_sample(volts), current]

    def inform(self, quantity: str, value: float) -> None:
        """Take nothing: the part needs no other."""


def identify() -> Identify:
    """Return whether an INA219 answers: it holds what one does, no sister's name."""
    return (yield from which()) == "ina219"


def make(options: Mapping[str, Any]) -> Ina219:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Ina219(opt.number(options, "shunt_mohm", SHUNT_MOHM, 0.1, 1000.0))


IDENTIFY = identify
PART = PartInfo(
    name="ina219",
    title="power monitor (INA219)",
    bus="i2c",
    gives={
        # Resolution: one step, at 100 mOhm.  Noise: below a step, sixteen readings
        # being averaged (own figure).  The rest as for the INA226.
        "supply_v": Gives(0.004, 0.002, 0.05, 86400.0, 40.0),
        "supply_a": Gives(0.0001, 0.0001, 0.05, 86400.0, 100.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    warm_up_s=1.0,
    address=0x40,
    addresses=tuple(range(0x40, 0x50)),
    options={"shunt_mohm": "the milliohms printed on the shunt, 0.1 to 1000 (100)"},
    service_years=0.0,
    range_c=(-40.0, 125.0),
)
