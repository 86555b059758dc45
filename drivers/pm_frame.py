"""Fine dust sensor that sends 32-byte frames on a serial port.

Sources: Plantower PMS7003 manual V2.5, 2016, and public libraries, as gathered in the
project's sensor notes, section 6.
"""

from cabinvigil.drivers.kit import dust
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.crc import sum16
from cabinvigil.drivers.kit.dust_frame import (
    SIZE,
    START,
    check,
    decode,
    samples,
)
from cabinvigil.drivers.kit.frames import FrameHunter, Stream
from cabinvigil.drivers.kit.steps import Gives, PartInfo, Sample

WAKE = 0xE4
SET_ACTIVE = 0xE1


def spell(code: int, value: int) -> bytes:
    """Format a command: start, code, 16-bit value, sum."""
    body = START + bytes([code]) + value.to_bytes(2, "big")
    return body + sum16(body).to_bytes(2, "big")


def _hunter() -> FrameHunter:
    return FrameHunter(START, SIZE, check)


class PmFrame:
    """Codec of one serial dust sensor; see `StreamPart`."""

    def __init__(self) -> None:
        self._air = dust.conditions()
        self._stream = Stream(_hunter, self._read)

    def opening(self) -> bytes:
        """Wake the part and have it send by itself, as after power-up."""
        self._stream.restart()
        return spell(WAKE, 1) + spell(SET_ACTIVE, 1)

    def request(self) -> bytes:
        """Ask for nothing: the frames come by themselves."""
        return b""

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking; see `StreamPart`.

        Raises:
            DriverError: the first thing wrong since the last call.
        """
        return self._stream.feed(data)

    def _read(self, frame: bytes) -> list[Sample]:
        return samples(decode(frame), self._air)

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity, to tell mist from dust."""
        self._air.inform(quantity, value)


make = opt.no_options(PmFrame)
IDENTIFY = None
"""A part on a serial port is told by its frames: open, listen, feed."""
PART = PartInfo(
    name="pm_frame",
    title="fine dust sensor (serial)",
    bus="serial",
    gives={
        # One µg/m³; noise below one in clean air (own figure).  Stuck: clean night air
        # may stand at one whole number for long; an hour is room (own figure).  Jump:
        # smoke comes at once.
        "pm2_5_ugm3": Gives(1.0, 0.8, 5.0, 3600.0, 3000.0),
        "pm10_ugm3": Gives(1.0, 0.8, 5.0, 3600.0, 5000.0),
    },
    make=make,
    # 2.3 s in steady air, 0.2 to 0.8 s while it changes.
    interval_s=2.3,
    max_age_s=10.0,
    # Stable from 30 s after waking.
    warm_up_s=30.0,
    baud=9600,
    # Three years of running (unverified).
    service_years=3.0,
    says_what=lambda _options: True,  # its frames begin as no gas module's do
    range_c=dust.RANGE_C,
)
