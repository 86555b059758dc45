"""Galvanic oxygen cell, 7 to 70 mV in air, read through an ADS1115.

Sources: City Technology MOX data sheets (9 to 13 mV) and the ADS1115 data sheet as
gathered in the project's sensor notes, section 7a; other makers' cells unverified.
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
    # The finest range: one count is 7.8 µV, or 0.0145 % oxygen at 11.25 mV.
    full_scale_mv=256,
    # Zero offset in nitrogen is below 200 µV.
    dead_mv=0.2,
    most_mv=256.0,
    # New cells of one maker give 9 to 13 mV, of others 10 to 16 and 47 to 65 (from
    # memory).  Wear shows against a cell's own first.
    span_mv=(7.0, 70.0),
    zero_mv=1.0,
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
    name="o2_cell_ads1115",
    title="oxygen cell",
    bus="i2c",
    gives={
        # Resolution: one count at 11 mV.  Noise: one count (unverified, below that at
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
    inputs=ads1115.inputs,
)
