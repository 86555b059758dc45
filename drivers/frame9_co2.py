"""Infrared carbon dioxide module with 9-byte frames on a serial port.

Sources: module data on a distributor's page and public libraries, as gathered in the
project's sensor notes, section 12; "unverified" where not re-read.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import co2, frame9
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.frames import Stream
from cabinvigil.drivers.kit.steps import (
    Gives,
    OutOfRangeError,
    PartInfo,
    Sample,
)

SELF_CALIBRATION = 0x79
OFF = 0x00
ZERO = 0x87
OFF_AGAIN_REQUESTS = 720
"""Self-calibration is switched off again this often, an hour at the part's interval: it
may be back after a loss of power too short for its silence to show (sensor notes, 12),
and then needs a day to move the baseline."""
OVERFLOW = 0xFFFF
FULL_SCALE_PPM = 5000.0
RANGE_C = (-10.0, 50.0)
RANGE_RH_PCT = (0.0, 95.0)
WARM_UP_S = 180.0
"""1 min by one page, 3 min unverified: the longer.  Until then it sends made-up values
such as 400, 410 or 500 (unverified), which are no air's."""


def decode(frame: bytes) -> int:
    """Decode an answer, in ppm.

    Raises:
        DriverError: see `frame9.check`.
        WrongPartError: not the answer to a reading.
        OutOfRangeError: ffff, which is no value.
    """
    co2_ppm = frame9.answer_value(frame)
    if co2_ppm == OVERFLOW:
        raise OutOfRangeError(f"it reports {co2_ppm} ppm: the scale's end, no value")
    return co2_ppm


def zero_command() -> bytes:
    """Format the command that takes the air now for 400 ppm, for good.

    Only after a typed yes, and twenty minutes in outdoor air: it cannot be taken back.
    """
    return frame9.spell(ZERO)


class Frame9Co2:
    """Codec of one CO2 module; see `StreamPart`."""

    def __init__(self, full_scale_ppm: float) -> None:
        self._full_scale_ppm = full_scale_ppm
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._requests = 0
        self._stream = Stream(frame9.hunter, self._read)

    def opening(self) -> bytes:
        """Switch self-calibration off, which may be on again after power was lost."""
        self._stream.restart()
        self._requests = 0
        return frame9.spell(SELF_CALIBRATION, OFF)

    def request(self) -> bytes:
        """Ask for the value; now and then, keep self-calibration off."""
        self._requests += 1
        is_due = self._requests % OFF_AGAIN_REQUESTS == 0
        again = frame9.spell(SELF_CALIBRATION, OFF) if is_due else b""
        return again + frame9.spell(frame9.READ)

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking; see `StreamPart`.

        Raises:
            DriverError: the first thing wrong since the last call.
        """
        return self._stream.feed(data)

    def _read(self, frame: bytes) -> list[Sample]:
        if frame[1] in frame9.ACKNOWLEDGED:
            return []
        return self._samples(decode(frame))

    def _samples(self, raw_ppm: int) -> list[Sample]:
        ppm = co2.corrected(raw_ppm, self._air.get("pressure_hpa"))
        quality = self._air.quality()
        return [co2.co2_sample(raw_ppm, self._full_scale_ppm, quality, ppm)]

    def inform(self, quantity: str, value: float) -> None:
        """Take pressure, temperature and humidity."""
        self._air.inform(quantity, value)


def make(options: Mapping[str, Any]) -> Frame9Co2:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    full_scale = opt.number(options, "full_scale_ppm", FULL_SCALE_PPM, 1000.0, 50000.0)
    return Frame9Co2(full_scale)


IDENTIFY = None
"""A part on a serial port is told by its frames: open, ask, feed."""
PART = PartInfo(
    name="frame9_co2",
    title="CO2 module",
    bus="serial",
    gives={
        # Resolution 1 ppm; noise unverified; t90 below 120 s is 52 s at 63 %.  Stuck:
        # such modules smooth heavily; ten minutes at one number is still too long (own
        # figure).  Jump: breath on the module (common practice, no source).
        "co2_ppm": Gives(1.0, 5.0, 52.0, 600.0, 1000.0, made_up_s=WARM_UP_S),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    warm_up_s=WARM_UP_S,
    baud=9600,
    needs=("pressure_hpa", "temp_c", "rh_pct"),
    options={"full_scale_ppm": "end of the module's range, 1000 to 50 000 (5000)"},
    # Life of five years or more (unverified).
    service_years=5.0,
    range_c=RANGE_C,
    # Its sisters for CO and oxygen answer the same.
    question=frame9.spell(frame9.READ),
)
