"""PMSA003I: fine dust on I2C, by the frame that its sisters send on a serial port.

Sources: Plantower PMSA003I data sheet V2.6 (unverified) and a public library; the
frame as in the project's sensor notes, section 6.
"""

from cabinvigil.drivers.kit import dust
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.dust_frame import SIZE, check, decode, samples
from cabinvigil.drivers.kit.probe import Identify, answers
from cabinvigil.drivers.kit.registers import Bytes
from cabinvigil.drivers.kit.steps import (
    Gives,
    PartInfo,
    Setup,
    Steps,
    Transfer,
)

FIRST_FRAME_S = 3.0
"""It makes a frame each 2.3 s in steady air (sensor notes, section 6), with room."""


class Pmsa003i:
    """Codec of one PMSA003I; see `PolledPart`."""

    def __init__(self) -> None:
        self._air = dust.conditions()

    def setup(self) -> Setup:
        """See that its frame can be read: it measures by itself, and has no settings.

        Where it has counted nothing yet its fan may just have started, and gets time.

        Raises:
            ShortError, LengthError, FramingError, CrcError: the frame cannot be read.
        """
        if decode((yield from _frame())).n0_3 == 0:
            yield Transfer(delay_s=FIRST_FRAME_S)

    def poll(self) -> Steps:
        """Read the newest frame; the part makes one each 2.3 s, or oftener.

        Raises:
            ShortError, LengthError, FramingError, CrcError: the frame cannot be read.
            NotMeasuredError: not one particle, which no air has.
            OutOfRangeError: more than dust can be.
        """
        return samples(decode((yield from _frame())), self._air)

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity, to tell mist from dust."""
        self._air.inform(quantity, value)


def _frame() -> Bytes:
    reply = yield Transfer(rx_len=SIZE)
    check(reply)
    return reply


def identify() -> Identify:
    """Return whether a PMSA003I answers, by its frame's start, length and sum."""
    return answers(_frame())


make = opt.no_options(Pmsa003i)
IDENTIFY = identify
PART = PartInfo(
    name="pmsa003i",
    title="fine dust sensor (PMSA003I)",
    bus="i2c",
    gives={
        # As the serial ones: one µg/m³; noise below one in clean air (own figure).
        # Stuck: clean night air may stand at one whole number for long; an hour is room
        # (own figure).  Jump: smoke comes at once.
        "pm2_5_ugm3": Gives(1.0, 0.8, 5.0, 3600.0, 3000.0),
        "pm10_ugm3": Gives(1.0, 0.8, 5.0, 3600.0, 5000.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=20.0,
    # Stable from 30 s after waking.
    warm_up_s=30.0,
    address=0x12,
    addresses=(0x12,),
    # Three years of running (unverified).
    service_years=3.0,
    range_c=dust.RANGE_C,
)
