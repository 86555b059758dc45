"""Galvanic oxygen cell, 7 to 70 mV in air, read through an ADS1115.

Sources: City Technology MOX data sheets (9 to 13 mV) and the ADS1115 data sheet as
gathered in the project's sensor notes, section 7a; other makers' cells from memory.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.air_span import (
    GALVANIC_ACCURACY_PCT,
    GALVANIC_HPA_PER_K_MIN,
    GALVANIC_PCT_PER_K_MIN,
    GALVANIC_SETTLES_PCT,
    SPAN_OPTIONS,
    AirSpan,
    leaves_out,
    o2_samples,
    span_of,
)
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CellDeadError,
    Gives,
    NotMeasuredError,
    PartInfo,
    Sample,
    Setup,
    Steps,
)

FULL_SCALE_MV = 256
"""The finest range: one count is 7.8 µV, or 0.0145 % oxygen at 11.25 mV."""
DEAD_MV = 0.2
"""Zero offset in nitrogen is below 200 µV: less cannot be told from a dead cell."""
SPAN_MV = (7.0, 70.0)
"""Fresh-air signals that a span takes: new cells of one maker give 9 to 13 mV, of
others 13 to 16 and 47 to 65 (from memory).  Wear shows against a cell's own first."""
WORN_SHARE = 0.70
"""Share of the first fresh-air signal below which a cell is worn out."""
STEADY_SHARE = 0.01
"""Most difference of readings in a span, of their mean: 0.2 % oxygen (own figure)."""
FEWEST_READINGS = 5
"""Readings that a span needs at least (own figure)."""
RANGE_C = (-20.0, 50.0)
"""Operating temperature; compensated to 2 % over 0 to 40 °C only."""
REFERENCE_C = 20.0


@dataclass(frozen=True, slots=True)
class OxygenCellFacts:
    """What is known of a cell, from the config and its last span."""

    span: AirSpan | None
    """None: never spanned; its millivolts mean nothing yet."""
    air_temp_c: float = REFERENCE_C
    """Temperature at the span."""
    zero_mv: float = 0.0
    """Signal without oxygen."""
    slope_pct_per_k: float = 0.0
    """Drift left by the cell's own compensation, in % of signal a kelvin."""

    def signal(self, mv: float, temp_c: float | None) -> float:
        """Return the signal without zero, as it would be at the span's temperature.

        Outside the maker's range the drift stays that of the range's end.
        """
        now_c = self.air_temp_c if temp_c is None else temp_c
        warmer = _within_range(now_c) - _within_range(self.air_temp_c)
        return (mv - self.zero_mv) / (1 + self.slope_pct_per_k / 100 * warmer)


def _within_range(temp_c: float) -> float:
    return min(max(temp_c, RANGE_C[0]), RANGE_C[1])


def millivolts(counts: int) -> float:
    """Return the cell's voltage.

    Raises:
        OutOfRangeError: the converter is at the end of its scale.
        CellDeadError: no more than a cell gives without any oxygen.
    """
    ads1115.floating(counts)
    mv = counts * FULL_SCALE_MV / 32768
    if mv < DEAD_MV:
        raise CellDeadError(
            f"the cell gives {mv:.2f} mV, under {DEAD_MV:g} mV: it is dead or "
            "reversed, or a wire is open"
        )
    return mv


def samples(mv: float, cell: OxygenCellFacts, air: Conditions) -> list[Sample]:
    """Turn millivolts into oxygen.

    Raises:
        NotMeasuredError: the cell was never spanned in fresh air.
    """
    if cell.span is None:
        raise NotMeasuredError(
            f"the cell gives {mv:.2f} mV, but was never calibrated: run `cabinvigil "
            "span`"
        )
    signal = cell.signal(mv, air.get("temp_c"))
    return o2_samples(cell.span, signal, air)


def span_mv(readings_mv: Sequence[float], first_mv: float | None = None) -> float:
    """Return the fresh-air signal from steady readings.

    Args:
        readings_mv: Readings in fresh, still air, burner off, 15 min after power-up.
        first_mv: The cell's very first span, None at the first.

    Raises:
        CalibrationError: too few or unsteady readings, or a worn-out cell.
    """
    if len(readings_mv) < FEWEST_READINGS:
        raise CalibrationError(
            f"{len(readings_mv)} readings are too few: a calibration needs "
            f"{FEWEST_READINGS}"
        )
    mean = math.fsum(readings_mv) / len(readings_mv)
    low, high = SPAN_MV
    if not low <= mean <= high:
        raise CalibrationError(
            f"the cell gives {mean:.2f} mV in air, outside {low:g} to {high:g} mV: "
            "worn out, or not a cell of this kind"
        )
    if max(readings_mv) - min(readings_mv) > STEADY_SHARE * mean:
        raise CalibrationError(
            f"the readings run from {min(readings_mv):.3f} to {max(readings_mv):.3f} "
            "mV: wait for steady air"
        )
    if first_mv is not None and mean < WORN_SHARE * first_mv:
        raise CalibrationError(
            f"the cell gives {mean:.2f} mV, less than {WORN_SHARE:.0%} of its first "
            f"{first_mv:.2f} mV: replace it"
        )
    return mean


class O2CellAds1115:
    """Codec of one cell and its converter; see `PolledPart`."""

    def __init__(self, cell: OxygenCellFacts, pins: str) -> None:
        self._cell = cell
        self._input = ads1115.Input(pins, FULL_SCALE_MV)
        self._air = Conditions(RANGE_C)

    def setup(self) -> Setup:
        """See that the converter is there; it needs no setting that lasts.

        Raises:
            WrongPartError: another part answers.
            ShortError, LengthError: an answer has another size.
        """
        return ads1115.check_part()

    def poll(self) -> Steps:
        """Read the cell.

        Raises:
            NotReadyError, NotMeasuredError, ShortError, LengthError: see `convert`.
            OutOfRangeError, CellDeadError: see `millivolts`.
        """
        mv = yield from self.read_mv()
        return samples(mv, self._cell, self._air)

    def read_mv(self) -> ads1115.Millivolts:
        """Read the cell's voltage alone, as a span needs it.

        Raises:
            DriverError: as `poll`, but a cell without a span is read too.
        """
        counts = yield from ads1115.convert(self._input)
        return millivolts(counts)

    def inform(self, quantity: str, value: float) -> None:
        """Take the air pressure, and the temperature at the cell."""
        self._air.inform(quantity, value)


def cell_of(options: Mapping[str, Any]) -> OxygenCellFacts:
    """Read the cell's figures from the config's options and the last span.

    Raises:
        ValueError: an option is out of bounds.
    """
    zero_mv = opt.number(options, "zero_mv", 0.0, -1.0, 1.0)
    air_mv = opt.optional_number(options, "air_mv", *SPAN_MV)
    # Read in any case, so that a wrong option is told before the first span too.
    span = span_of(options, (air_mv or SPAN_MV[0]) - zero_mv)
    return OxygenCellFacts(
        span=None if air_mv is None else span,
        air_temp_c=opt.number(options, "air_temp_c", REFERENCE_C, -40.0, 60.0),
        zero_mv=zero_mv,
        slope_pct_per_k=opt.number(options, "slope_pct_per_k", 0.0, -1.0, 1.0),
    )


def make(options: Mapping[str, Any]) -> O2CellAds1115:
    """Make the codec from the config's options and the last span.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    cell = cell_of(options)
    return O2CellAds1115(cell, opt.choice(options, "pins", "0-1", ads1115.MULTIPLEXER))


IDENTIFY = ads1115.identify
PART = PartInfo(
    name="o2_cell_ads1115",
    title="oxygen cell",
    bus="i2c",
    gives={
        # Resolution: one count at 11 mV.  Noise: one count (from memory, below that at
        # 8 readings a second).  Lag: t90 below 15 s is 6.5 s at 63 %.  Stuck: 60 equal
        # readings of 5 s (sensor notes 14, row 13).  Jump: all of the air's oxygen in
        # t90, three times over.
        "o2_pct": Gives(
            0.0145,
            0.015,
            6.5,
            300.0,
            4.0,
            off_per_k_min=GALVANIC_PCT_PER_K_MIN,
            accuracy=GALVANIC_ACCURACY_PCT,
            settles=GALVANIC_SETTLES_PCT,
        ),
        "o2_hpa": Gives(
            0.15, 0.15, 6.5, 300.0, 40.0, off_per_k_min=GALVANIC_HPA_PER_K_MIN
        ),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # 15 min to settle before it may be spanned.
    warm_up_s=900.0,
    address=0x48,
    addresses=ads1115.ADDRESSES,
    needs=("pressure_hpa", "temp_c"),
    options={
        "air_mv": "mV in fresh air, 7 to 70 (kept by `cabinvigil span`)",
        **SPAN_OPTIONS,
        "air_temp_c": "temperature in °C at that calibration (20)",
        "zero_mv": "mV without oxygen, -1 to 1 (0)",
        "slope_pct_per_k": "drift left, in % of signal a kelvin, -1 to 1 (0)",
        "pins": "inputs of the converter: 0-1 (default), 2-3, 0-3, 1-3, 0, 1, 2 or 3",
    },
    # 2 to 3 years are usual for such cells (sensor notes, section 7b); 1.5 million
    # %-hours would be 8 years of air, but the maker's own warranty is 13 months.
    service_years=2.0,
    range_c=RANGE_C,
    leaves_out=leaves_out,
)
