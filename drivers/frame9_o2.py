"""Electrochemical oxygen module with 9-byte frames on a serial port.

Sources: the frame as in the CO module's manual; gas and unit codes, range and
resolution unverified (the project's sensor notes, section 12): confirm on the module.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.air_span import (
    GALVANIC_ACCURACY_PCT,
    GALVANIC_HPA_PER_K_MIN,
    GALVANIC_PCT_PER_K_MIN,
    GALVANIC_SETTLES_PCT,
    MODULE_OPTIONS,
    AirSpan,
    leaves_out,
    module_span,
    o2_samples,
)
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.module9 import (
    MODE_OPTIONS,
    GasModule,
    Mode,
    ModuleGas,
    mode_of,
    says_gas,
)
from cabinvigil.drivers.kit.steps import CellDeadError, Gives, PartInfo, Sample

OXYGEN = ModuleGas(5, 4, "oxygen", answer_step=0.1, full_scale=25.0)
"""Gas 05, unit 04 is vol % (unverified); 0.1 % a count, 25 % at the end (the same)."""
RANGE_C = (-20.0, 50.0)
"""From memory; as of the galvanic cell within."""


class Frame9O2(GasModule):
    """Codec of one oxygen module; see `StreamPart`."""

    def __init__(self, mode: Mode, span: AirSpan) -> None:
        super().__init__(OXYGEN, mode, self._samples)
        self._span = span
        self._air = Conditions(RANGE_C)

    def inform(self, quantity: str, value: float) -> None:
        """Take the air pressure, and the temperature at the module."""
        self._air.inform(quantity, value)

    def _samples(self, value: float, full_scale: float) -> list[Sample]:
        """Judge a value.

        Raises:
            CellDeadError: 0 %, which cannot be told from a dead cell.
        """
        if value == 0:
            raise CellDeadError("it reports 0 % oxygen: its cell is dead")
        found = o2_samples(self._span, value, self._air)
        if value >= full_scale:
            why = "the module is at full scale"
            return [Sample(one.quantity, one.value, "at-least", why) for one in found]
        return found


def make(options: Mapping[str, Any]) -> Frame9O2:
    """Make the codec from the config's options and the last span.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return Frame9O2(mode_of(options), module_span(options))


IDENTIFY = None
"""A part on a serial port is told by its frames: open, listen, feed."""
PART = PartInfo(
    name="frame9_o2",
    title="oxygen module",
    bus="serial",
    gives={
        # Resolution 0.1 %; t90 15 s is 6.5 s at 63 % (unverified, as the galvanic
        # cell).  Stuck: one step of 0.1 % may rightly stand for an hour in still fresh
        # air (own figure).
        "o2_pct": Gives(
            0.1,
            0.05,
            6.5,
            3600.0,
            4.0,
            off_per_k_min=GALVANIC_PCT_PER_K_MIN,
            accuracy=GALVANIC_ACCURACY_PCT,
            settles=GALVANIC_SETTLES_PCT,
        ),
        "o2_hpa": Gives(
            1.0, 0.5, 6.5, 3600.0, 40.0, off_per_k_min=GALVANIC_HPA_PER_K_MIN
        ),
    },
    make=make,
    interval_s=1.0,
    max_age_s=5.0,
    # Minutes of settling (unverified).
    warm_up_s=300.0,
    baud=9600,
    needs=("pressure_hpa", "temp_c"),
    options={**MODE_OPTIONS, **MODULE_OPTIONS},
    # 2 to 3 years are usual for such cells (sensor notes, section 7b).
    service_years=2.0,
    range_c=RANGE_C,
    leaves_out=leaves_out,
    says_what=says_gas,
)
