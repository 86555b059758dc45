"""Carbon monoxide module on a serial port whose answers name gas and decimals.

Sources: see `kit.named9`.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import frame9, named9
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.frames import FrameHunter, Stream
from cabinvigil.drivers.kit.named9 import (
    FULL_SCALE_PPM,
    OPTIONS,
    RANGE_C,
    SERVICE_YEARS,
    STEP_PPM,
    WARM_UP_S,
    judge_of,
    steps,
)
from cabinvigil.drivers.kit.steps import Gives, PartInfo, Sample


def _hunter() -> FrameHunter:
    return FrameHunter(bytes([frame9.START]), frame9.SIZE, named9.check)


def _always(_options: Mapping[str, Any]) -> bool:
    return True


class CoNamedLine:
    """Codec of one module; see `StreamPart`."""

    def __init__(self, judge: named9.NamedCo) -> None:
        """Take what judges its answers."""
        self._judge = judge
        self._stream = Stream(_hunter, self._read)

    def opening(self) -> bytes:
        """Let it answer when asked; what it sends by itself is read by nobody."""
        self._stream.restart()
        return frame9.spell(named9.SET_MODE, named9.QUESTION)

    def request(self) -> bytes:
        """Ask for the value."""
        return frame9.spell(frame9.READ)

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking; see `StreamPart`.

        Raises:
            DriverError: the first thing wrong since the last call.
        """
        return self._stream.feed(data)

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity."""
        self._judge.inform(quantity, value)

    def _read(self, frame: bytes) -> list[Sample]:
        if frame[1] in frame9.ACKNOWLEDGED:
            return []
        return self._judge.samples(frame)


def make(options: Mapping[str, Any]) -> CoNamedLine:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return CoNamedLine(judge_of(options))


IDENTIFY = None
"""A part on a serial port is told by its frames: open, ask, feed."""
PART = PartInfo(
    name="co_named_line",
    title="carbon monoxide module that names its gas, on a line",
    bus="serial",
    gives={
        # Resolution: one count.  Noise: less (own figure).  t90 30 s is 13 s at 63 %
        # (unverified).  Stuck and jump as of `frame9_co`; accuracy likewise.
        "co_ppm": Gives(STEP_PPM, 0.3, 13.0, 604800.0, FULL_SCALE_PPM, accuracy=10.0),
    },
    make=make,
    interval_s=1.0,
    max_age_s=5.0,
    warm_up_s=WARM_UP_S,
    baud=9600,
    needs=("temp_c", "rh_pct"),
    options=OPTIONS,
    service_years=SERVICE_YEARS,
    range_c=RANGE_C,
    says_what=_always,
    steps=steps,
)
