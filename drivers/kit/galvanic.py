"""Galvanic oxygen cells on an ADS1115, bare or behind an amplifier: what they share.

Sources: City Technology MOX data sheets and the ADS1115 data sheet, as gathered in the
project's sensor notes, section 7a.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.air_span import AirSpan, o2_samples, span_of
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CellDeadError,
    NotMeasuredError,
    OutOfRangeError,
    Sample,
    Setup,
    Steps,
)

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
class CellSignal:
    """What millivolts of one kind of cell can be."""

    full_scale_mv: int
    """The converter's range."""
    dead_mv: float
    """Less cannot be told from a dead cell."""
    most_mv: float
    """More no cell of this kind gives: a wire is open or touches supply."""
    span_mv: tuple[float, float]
    """Fresh-air signals that a span takes."""
    zero_mv: float
    """The largest zero that a config may name, either way."""

    def millivolts(self, counts: int) -> float:
        """Return the cell's voltage.

        Raises:
            OutOfRangeError: the converter is at the end of its scale, or beyond what
                the cell can give.
            CellDeadError: no more than a cell gives without any oxygen.
        """
        ads1115.floating(counts)
        mv = counts * self.full_scale_mv / 32768
        if mv > self.most_mv:
            raise OutOfRangeError(
                f"it gives {mv:.0f} mV, more than {self.most_mv:g}: a wire touches "
                "power, or its amplifier is at its end"
            )
        if mv < self.dead_mv:
            raise CellDeadError(
                f"the cell gives {mv:.2f} mV, under {self.dead_mv:g} mV: it is dead or "
                "reversed, or a wire is open"
            )
        return mv

    def span(
        self, readings_mv: Sequence[float], first_mv: float | None = None
    ) -> float:
        """Return the fresh-air signal from steady readings.

        Args:
            readings_mv: Readings in fresh, still air, burner off, 15 min after
                power-up.
            first_mv: The cell's very first span, None at the first.

        Raises:
            CalibrationError: too few or unsteady readings, or a worn-out cell.
        """
        if len(readings_mv) < FEWEST_READINGS:
            raise CalibrationError(
                f"{len(readings_mv)} readings are too few: calibrating takes "
                f"{FEWEST_READINGS}"
            )
        mean = math.fsum(readings_mv) / len(readings_mv)
        low, high = self.span_mv
        if not low <= mean <= high:
            raise CalibrationError(
                f"the cell gives {mean:.2f} mV in air, outside {low:g} to {high:g} mV: "
                "worn out, or not a cell of this kind"
            )
        if max(readings_mv) - min(readings_mv) > STEADY_SHARE * mean:
            raise CalibrationError(
                f"the readings run from {min(readings_mv):.3f} to "
                f"{max(readings_mv):.3f} mV: wait for steady air"
            )
        if first_mv is not None and mean < WORN_SHARE * first_mv:
            raise CalibrationError(
                f"the cell gives {mean:.2f} mV, less than {WORN_SHARE:.0%} of its "
                f"first {first_mv:.2f} mV: replace it"
            )
        return mean


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


def samples(mv: float, cell: OxygenCellFacts, air: Conditions) -> list[Sample]:
    """Turn millivolts into oxygen.

    Raises:
        NotMeasuredError: the cell was never spanned in fresh air.
    """
    if cell.span is None:
        raise NotMeasuredError(
            f"the cell gives {mv:.2f} mV, but was never calibrated: run "
            "`cabinvigil span` in fresh air"
        )
    signal = cell.signal(mv, air.get("temp_c"))
    return o2_samples(cell.span, signal, air)


class GalvanicCell:
    """Codec of one cell and its converter; see `PolledPart`."""

    def __init__(self, signal: CellSignal, cell: OxygenCellFacts, pins: str) -> None:
        self._signal, self._cell = signal, cell
        self._input = ads1115.Input(pins, signal.full_scale_mv)
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
            OutOfRangeError, CellDeadError: see `CellSignal.millivolts`.
        """
        mv = yield from self.read_mv()
        return samples(mv, self._cell, self._air)

    def read_mv(self) -> ads1115.Millivolts:
        """Read the cell's voltage alone, as a span needs it.

        Raises:
            DriverError: as `poll`, but a cell without a span is read too.
        """
        counts = yield from ads1115.convert(self._input)
        return self._signal.millivolts(counts)

    def inform(self, quantity: str, value: float) -> None:
        """Take the air pressure, and the temperature at the cell."""
        self._air.inform(quantity, value)


def cell_of(signal: CellSignal, options: Mapping[str, Any]) -> OxygenCellFacts:
    """Read the cell's figures from the config's options and the last span.

    Raises:
        ValueError: an option is out of bounds.
    """
    most = signal.zero_mv
    zero_mv = opt.number(options, "zero_mv", 0.0, -most, most)
    air_mv = opt.optional_number(options, "air_mv", *signal.span_mv)
    # Read in any case, so that a wrong option is told before the first span too.
    span = span_of(options, (air_mv or signal.span_mv[0]) - zero_mv)
    return OxygenCellFacts(
        span=None if air_mv is None else span,
        air_temp_c=opt.number(options, "air_temp_c", REFERENCE_C, -40.0, 60.0),
        zero_mv=zero_mv,
        slope_pct_per_k=opt.number(options, "slope_pct_per_k", 0.0, -1.0, 1.0),
    )


def cell_codec(signal: CellSignal, options: Mapping[str, Any]) -> GalvanicCell:
    """Make the codec from the config's options and the last span.

    Raises:
        ValueError: an option is out of bounds.
    """
    cell = cell_of(signal, options)
    pins = opt.choice(options, "pins", "0-1", ads1115.MULTIPLEXER)
    return GalvanicCell(signal, cell, pins)
