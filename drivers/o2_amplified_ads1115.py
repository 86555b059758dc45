"""Oxygen cell behind an amplifier, 0 to 2.5 V, read through an ADS1115.

Sources: the cells as in `kit.galvanic`; what such boards give is unverified and by
common practice: about 2.1 V in air where 25 % are 2.5 V, less where more is the end.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.air_span import (
    GALVANIC_ACCURACY_PCT,
    GALVANIC_HPA_PER_K_MIN,
    GALVANIC_PCT_PER_K_MIN,
    GALVANIC_SETTLES_PCT,
    SPAN_OPTIONS,
    leaves_out,
)
from cabinvigil.drivers.kit.galvanic import (
    RANGE_C,
    CellSignal,
    GalvanicCell,
    cell_codec,
)
from cabinvigil.drivers.kit.steps import Gives, PartInfo

SIGNAL = CellSignal(
    # One count is 0.125 mV, or 0.0026 % oxygen at 1 V.
    full_scale_mv=4096,
    # A hundredth of 2 V: an amplifier without its cell rests at some mV (own figure).
    dead_mv=20.0,
    # Above its 2.5 V only an amplifier at its end gives, or the supply itself.
    most_mv=2600.0,
    # From boards that end at 100 % to those that end at 25 % (own limits).
    span_mv=(300.0, 2450.0),
    zero_mv=100.0,
)


def make(options: Mapping[str, Any]) -> GalvanicCell:
    """Make the codec from the config's options and the last span.

    Raises:
        ValueError: an option is unknown or out of bounds.
    """
    opt.known(options, PART.options)
    return cell_codec(SIGNAL, options)


IDENTIFY = ads1115.identify
PART = PartInfo(
    name="o2_amplified_ads1115",
    title="amplified oxygen cell",
    bus="i2c",
    gives={
        # Resolution: one count at 1 V.  Noise: some counts, by the amplifier (own
        # figure).  The rest as of the bare cell, which is the same one.
        "o2_pct": Gives(
            0.0026,
            0.015,
            6.5,
            300.0,
            4.0,
            off_per_k_min=GALVANIC_PCT_PER_K_MIN,
            accuracy=GALVANIC_ACCURACY_PCT,
            settles=GALVANIC_SETTLES_PCT,
        ),
        "o2_hpa": Gives(
            0.026, 0.15, 6.5, 300.0, 40.0, off_per_k_min=GALVANIC_HPA_PER_K_MIN
        ),
    },
    make=make,
    interval_s=5.0,
    max_age_s=15.0,
    # 15 min to settle before it may be spanned, as the bare cell.
    warm_up_s=900.0,
    address=0x48,
    addresses=ads1115.ADDRESSES,
    needs=("pressure_hpa", "temp_c"),
    options={
        "air_mv": "mV in fresh air, 300 to 2450 (kept by `cabinvigil span`)",
        **SPAN_OPTIONS,
        "air_temp_c": "temperature in °C when calibrated (20)",
        "zero_mv": "mV without oxygen, -100 to 100 (0)",
        "slope_pct_per_k": "drift left, in % of signal a kelvin, -1 to 1 (0)",
        "pins": "inputs of the converter: 0-1 (default), 2-3, 0-3, 1-3, 0, 1, 2 or 3",
    },
    # Two years are usual for such a cell (a public page of one board; sensor notes,
    # section 7b).
    service_years=2.0,
    range_c=RANGE_C,
    leaves_out=leaves_out,
    inputs=ads1115.inputs,
)
