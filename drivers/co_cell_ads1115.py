"""Electrochemical carbon monoxide cell with a current-to-voltage amplifier and ADS1115.

Sources: Alphasense CO-B4 specification, Nov 2013, as gathered in the project's sensor
notes, section 7b.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.co_cold import COLDEST_C, WARM_C, relative_sensitivity
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import (
    Gives,
    OutOfRangeError,
    PartInfo,
    Sample,
    Setup,
    Steps,
)

FULL_SCALE_MV = 2048
SENSITIVITY_NA_PER_PPM = 525.0
"""Middle of 450 to 600; the cell's label has its own figure."""
GAIN_OHM = 10_000.0
"""Of the amplifier: 390 ppm fill the converter (our choice)."""
FORGET_POLLS = 60
"""Polls after which a temperature that is not told again is unknown: 5 min at the
part's interval (own figure).  A cabin whose thermometer died may have grown cold."""
RANGE_C = (COLDEST_C, 50.0)
RANGE_RH_PCT = (15.0, 90.0)
"""Continuous use."""


@dataclass(frozen=True, slots=True)
class CoCellFacts:
    """What is known of a cell and its amplifier."""

    gain_ohm: float = GAIN_OHM
    sensitivity_na_per_ppm: float = SENSITIVITY_NA_PER_PPM
    """At 20 °C."""
    zero_na: float = 0.0
    """Current in clean air; 0 to -50 nA is usual."""

    def ppm(self, millivolts: float, temp_c: float | None) -> float:
        """Return CO from the amplifier's voltage; a small negative value is normal."""
        current_na = millivolts / 1000 / self.gain_ohm * 1e9
        sensitivity = self.sensitivity_na_per_ppm * relative_sensitivity(temp_c)
        return (current_na - self.zero_na) / sensitivity


def samples(
    counts: int, cell: CoCellFacts, air: Conditions, temp_c: float | None
) -> list[Sample]:
    """Turn a conversion into CO; `temp_c` is None where it is not known.

    Raises:
        OutOfRangeError: the converter is at its negative end.
    """
    if counts == ads1115.CLIPPED_LOW:
        raise OutOfRangeError(
            "the converter is at its negative end: the cell is reversed or a wire open"
        )
    millivolts = counts * FULL_SCALE_MV / 32768
    ppm = cell.ppm(millivolts, temp_c)
    if counts == ads1115.CLIPPED_HIGH:
        return [Sample("co_ppm", ppm, "at-least", "the converter is at full scale")]
    return [Sample("co_ppm", ppm, *air.quality())]


class CoCellAds1115:
    """Codec of one cell and its converter; see `PolledPart`."""

    def __init__(self, cell: CoCellFacts, pins: str) -> None:
        self._cell = cell
        self._input = ads1115.Input(pins, FULL_SCALE_MV)
        self._air = Conditions(RANGE_C, RANGE_RH_PCT)
        self._untold_polls = 0

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
            OutOfRangeError: the converter is at its negative end.
        """
        counts = yield from ads1115.convert(self._input)
        self._untold_polls += 1
        is_known = self._untold_polls <= FORGET_POLLS
        temp_c = self._air.get("temp_c") if is_known else None
        return samples(counts, self._cell, self._air, temp_c)

    def inform(self, quantity: str, value: float) -> None:
        """Take temperature and humidity at the cell."""
        self._air.inform(quantity, value)
        if quantity == "temp_c" and math.isfinite(value):
            self._untold_polls = 0


def cell_of(options: Mapping[str, Any]) -> CoCellFacts:
    """Read the figures of the cell and its amplifier from the config's options.

    Raises:
        ValueError: an option is out of bounds.
    """
    return CoCellFacts(
        gain_ohm=opt.number(options, "gain_ohm", GAIN_OHM, 100.0, 1e6),
        sensitivity_na_per_ppm=opt.number(
            options, "sensitivity_na_per_ppm", SENSITIVITY_NA_PER_PPM, 10.0, 5000.0
        ),
        zero_na=opt.number(options, "zero_na", 0.0, -5000.0, 5000.0),
    )


def make(options: Mapping[str, Any]) -> CoCellAds1115:
    """Make the codec from the config's options.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    pins = opt.choice(options, "pins", "0-1", ads1115.MULTIPLEXER)
    return CoCellAds1115(cell_of(options), pins)


def steps(options: Mapping[str, Any]) -> Mapping[str, float]:
    """Return what one count stands for, with this amplifier and cell.

    Raises:
        ValueError: an option is out of bounds.
    """
    cell = replace(cell_of(options), zero_na=0.0)
    return {"co_ppm": cell.ppm(FULL_SCALE_MV / 32768, WARM_C)}


IDENTIFY = ads1115.identify
PART = PartInfo(
    name="co_cell_ads1115",
    title="carbon monoxide cell",
    bus="i2c",
    gives={
        # Resolution: one count, 62.5 µV at 10 kOhm and 525 nA/ppm.  Noise: some counts
        # (own figure; it depends on the amplifier).  Lag: t90 below 15 s is 6.5 s at
        # 63 %.  Stuck: months of 0 ppm without noise mean a loose wire; an amplifier's
        # noise moves the count within minutes, and an hour is room (own figures).
        # Jump: full scale of the cell in a second is no air (own figure).
        "co_ppm": Gives(0.012, 0.05, 6.5, 3600.0, 500.0),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # Minutes after power-up; hours after long storage (unverified).
    warm_up_s=600.0,
    address=0x48,
    addresses=ads1115.ADDRESSES,
    needs=("temp_c", "rh_pct"),
    options={
        "gain_ohm": "the amplifier's ohms: volts out for each ampere in (10 000)",
        "sensitivity_na_per_ppm": "from the cell's label, nA a ppm at 20 °C (525)",
        "zero_na": "nA in clean air (0)",
        "pins": "inputs of the converter: 0-1 (default), 2-3, 0-3, 1-3, 0, 1, 2 or 3",
    },
    # Warranted for 24 months; more than 36 to half its signal, by when it reads half of
    # what kills, and nothing tells (its sheet).
    service_years=2.0,
    range_c=RANGE_C,
    steps=steps,
    inputs=ads1115.inputs,
)
