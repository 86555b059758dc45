"""Carbon monoxide module with 9-byte frames on a serial port.

Sources: module manuals as gathered in the project's sensor notes, section 12 (ZE07-CO
v1.2 p. 5, ZE15-CO 2023); "unverified" where not re-read.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.co_cold import relative_sensitivity
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.module9 import (
    MODE_OPTIONS,
    GasModule,
    Mode,
    ModuleGas,
    mode_of,
    says_gas,
)
from cabinvigil.drivers.kit.steps import Gives, PartInfo, Sample

RANGE_C = (-10.0, 55.0)
RANGE_RH_PCT = (15.0, 90.0)
"""ZE15-CO manual 2023; a winter cabin may lie outside at both ends."""
FULL_SCALE_PPM = 500.0
"""ZE15-CO manual 2023; upload frames tell their own."""
STEP_PPM = 0.1
"""What one count stands for (ZE15-CO manual 2023), unless `answer_ppm` says otherwise:
frames sent unasked name it, but a value is judged by what is known beforehand."""
CO = ModuleGas(4, 3, "CO", answer_step=0.0, full_scale=FULL_SCALE_PPM)
"""Gas 04, unit 03 is ppm (tables of the ZE07-CO manual).  What one count of an answer
stands for differs: 0.1 ppm in that manual, 1 ppm in the family whose mode bytes are 04
and 03 (unverified), so there is no default: 200 ppm would be read as 20."""
MOST_ZERO_PPM = 10.0
"""A larger reading in fresh air is a gassed or worn cell, not a zero (own limit)."""
ANSWER_PPM = (0.01, 10.0)
"""What a config may say that one count stands for (own limits)."""


class Frame9Co(GasModule):
    """Codec of one CO module; see `StreamPart`."""

    def __init__(
        self, gas: ModuleGas, mode: Mode, zero_ppm: float, *, is_compensated: bool
    ) -> None:
        super().__init__(gas, mode, self._samples)
        self._zero_ppm = zero_ppm
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._is_compensated = is_compensated
        self._has_thermometer = False

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity, to tell where the module may be blind."""
        self._air.inform(quantity, value)
        self._has_thermometer = self._has_thermometer or quantity == "temp_c"

    def _sensitivity(self) -> float:
        """Return its sensitivity, of that at 20 °C.

        A thermometer that died leaves the cold factor, which sounds early; where there
        never was one, what the module says stands.
        """
        if self._is_compensated or not self._has_thermometer:
            return 1.0
        return relative_sensitivity(self._air.get("temp_c"))

    def _samples(self, value: float, full_scale: float) -> list[Sample]:
        """Take off the zero, and the cold; a negative rest stays to be seen."""
        ppm = (value - self._zero_ppm) / self._sensitivity()
        if value >= full_scale:
            return [Sample("co_ppm", ppm, "at-least", "the module is at full scale")]
        return [Sample("co_ppm", ppm, *self._air.quality())]


def make(options: Mapping[str, Any]) -> Frame9Co:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    mode = mode_of(options)
    step_ppm = opt.number(options, "answer_ppm", 0.0, *ANSWER_PPM)
    if mode.asked and not step_ppm:
        raise ValueError(
            "answer_ppm: needed with mode = 'question': write what one count of a "
            "reply means by the module's data sheet, 0.1 or 1"
        )
    full_ppm = opt.number(options, "full_scale_ppm", FULL_SCALE_PPM, 100.0, 5000.0)
    return Frame9Co(
        replace(CO, answer_step=step_ppm, full_scale=full_ppm),
        mode,
        opt.number(options, "zero_ppm", 0.0, -MOST_ZERO_PPM, MOST_ZERO_PPM),
        is_compensated=opt.flag(options, "compensated"),
    )


def steps(options: Mapping[str, Any]) -> Mapping[str, float]:
    """Return what one count stands for, where the options say it.

    Raises:
        ValueError: it is out of bounds.
    """
    step_ppm = opt.number(options, "answer_ppm", STEP_PPM, *ANSWER_PPM)
    return {"co_ppm": step_ppm}


IDENTIFY = None
"""A part on a serial port is told by its frames: open, listen, feed."""
PART = PartInfo(
    name="frame9_co",
    title="carbon monoxide module",
    bus="serial",
    gives={
        # Resolution: one count.  Response 30 s (ZE15-CO; as t90, so 13 s at 63 %).
        # Noise: one count (own figure).  Stuck: 0.0 in clean air is right for days; a
        # week is not (own figure).  Jump: 500 ppm in one second is no air (own figure).
        # Accuracy: 10 ppm, or 15 % where that is more (unverified).
        "co_ppm": Gives(STEP_PPM, 0.3, 13.0, 604800.0, 500.0, accuracy=10.0),
    },
    make=make,
    interval_s=1.0,
    max_age_s=5.0,
    # Preheat 30 s by one manual, minutes by others (unverified).
    warm_up_s=180.0,
    baud=9600,
    needs=("temp_c", "rh_pct"),
    options={
        **MODE_OPTIONS,
        "answer_ppm": "ppm of one count, 0.1 or 1 by its sheet; needed with mode "
        "'question', and for frames that count by 1 (0.1)",
        "full_scale_ppm": "end of the range, for replies that do not report it (500)",
        "compensated": "true where its sheet says that its own thermometer corrects it "
        "for cold (false)",
        "zero_ppm": "what it shows in fresh air, taken off (-10 to 10; 0)",
    },
    # 3 to 5 years (ZE15-CO); the shorter.
    service_years=3.0,
    range_c=RANGE_C,
    says_what=says_gas,
    steps=steps,
)
