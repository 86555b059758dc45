"""Carbon monoxide module with 9-byte frames on a serial port.

Sources: module manuals as gathered in the project's sensor notes, section 12 (ZE07-CO
v1.2 p. 5, ZE15-CO 2023); "from memory" where not re-read.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.module9 import (
    MODE_OPTIONS,
    GasModule,
    Mode,
    ModuleGas,
    mode_of,
)
from cabinvigil.drivers.kit.steps import Gives, PartInfo, Sample

CO = ModuleGas(code=0x04, unit=0x03, words="CO", answer_step=0.1)
"""Gas 04, unit 03 is ppm (tables of the ZE07-CO manual); 0.1 ppm a count."""
RANGE_C = (-10.0, 55.0)
RANGE_RH_PCT = (15.0, 90.0)
"""ZE15-CO manual 2023; a winter cabin may lie outside at both ends."""
FULL_SCALE_PPM = 500.0
"""ZE15-CO manual 2023; upload frames tell their own."""
MOST_ZERO_PPM = 10.0
"""A larger reading in fresh air is a gassed or worn cell, not a zero (own limit)."""


class Frame9Co(GasModule):
    """Codec of one CO module; see `StreamPart`."""

    def __init__(self, mode: Mode, full_scale_ppm: float, zero_ppm: float) -> None:
        super().__init__(CO, mode, self._samples)
        self._full_scale_ppm, self._zero_ppm = full_scale_ppm, zero_ppm
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity, to tell where the module may be blind."""
        self._air.inform(quantity, value)

    def _samples(self, value: float, full_scale: float | None) -> list[Sample]:
        """Take off the zero; a negative rest stays to be seen."""
        ppm = value - self._zero_ppm
        if value >= (self._full_scale_ppm if full_scale is None else full_scale):
            return [Sample("co_ppm", ppm, "at-least", "the module is at full scale")]
        return [Sample("co_ppm", ppm, *self._air.quality())]


def make(options: Mapping[str, Any]) -> Frame9Co:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Frame9Co(
        mode_of(options),
        opt.number(options, "full_scale_ppm", FULL_SCALE_PPM, 100.0, 5000.0),
        opt.number(options, "zero_ppm", 0.0, -MOST_ZERO_PPM, MOST_ZERO_PPM),
    )


IDENTIFY = None
"""A part on a serial port is told by its frames: open, listen, feed."""
PART = PartInfo(
    name="frame9_co",
    title="carbon monoxide module",
    bus="serial",
    gives={
        # Resolution 0.1 ppm, response 30 s (ZE15-CO; taken as t90, so 13 s at 63 %).
        # Noise: one count (own figure).  Stuck: 0.0 in clean air is right for days; a
        # week is not (own figure).  Jump: 500 ppm in one second is no air (own figure).
        "co_ppm": Gives(0.1, 0.3, 13.0, 604800.0, 500.0),
    },
    make=make,
    interval_s=1.0,
    max_age_s=5.0,
    # Preheat 30 s by one manual, minutes by others (from memory).
    warm_up_s=180.0,
    baud=9600,
    needs=("temp_c", "rh_pct"),
    options={
        **MODE_OPTIONS,
        "full_scale_ppm": "end of the range, for answers that do not tell it (500)",
        "zero_ppm": "what it shows in fresh air, taken off (-10 to 10; 0)",
    },
    # 3 to 5 years (ZE15-CO); the shorter.
    service_years=3.0,
    range_c=RANGE_C,
)
