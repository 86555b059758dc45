"""Which emulated part plays which kind of the config.

Each takes the air that it hangs in, the seed of its own errors, what tells the present,
and what `own_figures` makes of its options.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.rehearsal.emulated.ads1115 import Pair, Volts
from cabinvigil.daemon.rehearsal.emulated.bme280 import EmulatedBme280
from cabinvigil.daemon.rehearsal.emulated.bmp280 import EmulatedBmp280
from cabinvigil.daemon.rehearsal.emulated.bmp390 import EmulatedBmp390
from cabinvigil.daemon.rehearsal.emulated.cells import CoCell, GalvanicO2Cell
from cabinvigil.daemon.rehearsal.emulated.contact import EmulatedContact
from cabinvigil.daemon.rehearsal.emulated.ds18b20 import EmulatedDs18b20
from cabinvigil.daemon.rehearsal.emulated.frame9 import (
    EmulatedFrame9Co,
    EmulatedFrame9Co2,
    EmulatedFrame9O2,
)
from cabinvigil.daemon.rehearsal.emulated.gas import EmulatedFrame9Gas, GasBeads
from cabinvigil.daemon.rehearsal.emulated.ina219 import EmulatedIna219
from cabinvigil.daemon.rehearsal.emulated.ina226 import EmulatedIna226
from cabinvigil.daemon.rehearsal.emulated.ina228 import EmulatedIna228
from cabinvigil.daemon.rehearsal.emulated.max17048 import EmulatedMax17048
from cabinvigil.daemon.rehearsal.emulated.modbus_co2 import EmulatedModbusCo2
from cabinvigil.daemon.rehearsal.emulated.named_co import (
    EmulatedCoNamedI2c,
    EmulatedCoNamedLine,
)
from cabinvigil.daemon.rehearsal.emulated.o2_key import EmulatedO2Key
from cabinvigil.daemon.rehearsal.emulated.o2_line import EmulatedO2Line
from cabinvigil.daemon.rehearsal.emulated.pm_frame import EmulatedPmFrame
from cabinvigil.daemon.rehearsal.emulated.pmsa003i import EmulatedPmsa003i
from cabinvigil.daemon.rehearsal.emulated.scd4x import EmulatedScd4x
from cabinvigil.daemon.rehearsal.emulated.scd30 import EmulatedScd30
from cabinvigil.daemon.rehearsal.emulated.sen6x import EmulatedSen6x
from cabinvigil.daemon.rehearsal.emulated.sgp41 import EmulatedSgp41
from cabinvigil.daemon.rehearsal.emulated.sht3x import EmulatedSht3x
from cabinvigil.daemon.rehearsal.emulated.sht4x import EmulatedSht4x
from cabinvigil.daemon.rehearsal.emulated.sps30 import EmulatedSps30
from cabinvigil.daemon.rehearsal.emulated.stcc4 import EmulatedStcc4
from cabinvigil.daemon.rehearsal.emulated.tmp117 import EmulatedTmp117
from cabinvigil.daemon.rehearsal.emulated.ways import I2cPart, Now, See, SerialPart

AMPLIFIED_AIR_MV = 2090.0
"""In air, of a board that ends at 2.5 V with 25 % (common practice, no source)."""
ON_I2C: Mapping[str, Callable[..., I2cPart]] = MappingProxyType(
    {
        "bme280": EmulatedBme280,
        "bmp280": EmulatedBmp280,
        "bmp390": EmulatedBmp390,
        "ina219": EmulatedIna219,
        "co_named_i2c": EmulatedCoNamedI2c,
        "ina226": EmulatedIna226,
        "ina228": EmulatedIna228,
        "max17048": EmulatedMax17048,
        "o2_key_register": EmulatedO2Key,
        "scd30": EmulatedScd30,
        "pmsa003i": EmulatedPmsa003i,
        "scd4x": EmulatedScd4x,
        "sen6x": EmulatedSen6x,
        "sgp41": EmulatedSgp41,
        "sht3x": EmulatedSht3x,
        "sht4x": EmulatedSht4x,
        "sps30": EmulatedSps30,
        "stcc4": EmulatedStcc4,
        "tmp117": EmulatedTmp117,
    }
)
"""Parts with an address of their own."""


def _o2_volts(air: See, seed: int, now: Now, **own: Any) -> Volts:
    return GalvanicO2Cell(air, seed, now, **own).volts


def _co_volts(air: See, seed: int, now: Now, **own: Any) -> Volts:
    return CoCell(air, seed, now, **own).volts


def _amplified_o2_volts(air: See, seed: int, now: Now, **own: Any) -> Volts:
    cell = GalvanicO2Cell(air, seed, now, **{"air_mv": AMPLIFIED_AIR_MV} | own)
    return cell.volts


def _gas_volts(air: See, seed: int, now: Now, **own: Any) -> Pair:
    beads = GasBeads(air, seed, now, **own)
    return beads.plus, beads.minus


AT_A_CONVERTER: Mapping[str, Callable[..., Volts | Pair]] = MappingProxyType(
    {
        "co_cell_ads1115": _co_volts,
        "gas_bead_ads1115": _gas_volts,
        "o2_amplified_ads1115": _amplified_o2_volts,
        "o2_cell_ads1115": _o2_volts,
    }
)
"""Cells; those with one address share one converter: `ads1115.converter`."""
GALVANIC = frozenset({"o2_amplified_ads1115", "o2_cell_ads1115"})
"""Of these the kinds that settle for a while once they are connected."""

ON_SERIAL: Mapping[str, Callable[..., SerialPart]] = MappingProxyType(
    {
        "co_named_line": EmulatedCoNamedLine,
        "frame9_co": EmulatedFrame9Co,
        "frame9_co2": EmulatedFrame9Co2,
        "frame9_gas": EmulatedFrame9Gas,
        "frame9_o2": EmulatedFrame9O2,
        "modbus_co2": EmulatedModbusCo2,
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
