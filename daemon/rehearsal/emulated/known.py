"""Which emulated part plays which kind of the config.

Each takes the air that it hangs in, the seed of its own errors, what tells the present,
and what `own_figures` makes of its options.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.rehearsal.emulated.ads1115 import Volts
from cabinvigil.daemon.rehearsal.emulated.bme280 import EmulatedBme280
from cabinvigil.daemon.rehearsal.emulated.cells import CoCell, GalvanicO2Cell
from cabinvigil.daemon.rehearsal.emulated.contact import EmulatedContact
from cabinvigil.daemon.rehearsal.emulated.ds18b20 import EmulatedDs18b20
from cabinvigil.daemon.rehearsal.emulated.frame9 import (
    EmulatedFrame9Co,
    EmulatedFrame9Co2,
    EmulatedFrame9O2,
)
from cabinvigil.daemon.rehearsal.emulated.ina226 import EmulatedIna226
from cabinvigil.daemon.rehearsal.emulated.o2_key import EmulatedO2Key
from cabinvigil.daemon.rehearsal.emulated.o2_line import EmulatedO2Line
from cabinvigil.daemon.rehearsal.emulated.pm_frame import EmulatedPmFrame
from cabinvigil.daemon.rehearsal.emulated.scd4x import EmulatedScd4x
from cabinvigil.daemon.rehearsal.emulated.sgp41 import EmulatedSgp41
from cabinvigil.daemon.rehearsal.emulated.sht4x import EmulatedSht4x
from cabinvigil.daemon.rehearsal.emulated.sps30 import EmulatedSps30
from cabinvigil.daemon.rehearsal.emulated.tmp117 import EmulatedTmp117
from cabinvigil.daemon.rehearsal.emulated.ways import I2cPart, Now, See, SerialPart

ON_I2C: Mapping[str, Callable[..., I2cPart]] = MappingProxyType(
    {
        "bme280": EmulatedBme280,
        "ina226": EmulatedIna226,
        "o2_key_register": EmulatedO2Key,
        "scd4x": EmulatedScd4x,
        "sgp41": EmulatedSgp41,
        "sht4x": EmulatedSht4x,
        "sps30": EmulatedSps30,
        "tmp117": EmulatedTmp117,
    }
)
"""Parts with an address of their own."""


def _o2_volts(air: See, seed: int, now: Now, **own: Any) -> Volts:
    return GalvanicO2Cell(air, seed, now, **own).volts


def _co_volts(air: See, seed: int, now: Now, **own: Any) -> Volts:
    return CoCell(air, seed, now, **own).volts


AT_A_CONVERTER: Mapping[str, Callable[..., Volts]] = MappingProxyType(
    {"co_cell_ads1115": _co_volts, "o2_cell_ads1115": _o2_volts}
)
"""Cells; those with one address share one converter: `ads1115.converter`."""

ON_SERIAL: Mapping[str, Callable[..., SerialPart]] = MappingProxyType(
    {
        "frame9_co": EmulatedFrame9Co,
        "frame9_co2": EmulatedFrame9Co2,
        "frame9_o2": EmulatedFrame9O2,
        "o2_optical_line": EmulatedO2Line,
        "pm_frame": EmulatedPmFrame,
    }
)
IN_A_FILE: Mapping[str, Callable[[See, int, Now], EmulatedDs18b20]] = MappingProxyType(
    {"ds18b20": EmulatedDs18b20}
)
ON_A_LINE: Mapping[str, Callable[..., EmulatedContact]] = MappingProxyType(
    {"contact": EmulatedContact}
)
