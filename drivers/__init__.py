"""The parts that can be driven: one file a part, and one line a part in `REGISTRY`.

A part's file decodes bytes, and says by steps what is to be sent; it knows no bus, no
clock and no cabin.  It imports `kit/` alone, and no other part.

May be imported by: any folder but air, core, log, outputs, rules, text, trend.
"""

from importlib import import_module
from types import ModuleType

from cabinvigil.drivers.kit.probe import Identifier
from cabinvigil.drivers.kit.steps import PartInfo

REGISTRY: dict[str, str] = {
    "bme280": "cabinvigil.drivers.bme280",
    "bmp280": "cabinvigil.drivers.bmp280",
    "bmp390": "cabinvigil.drivers.bmp390",
    "co_cell_ads1115": "cabinvigil.drivers.co_cell_ads1115",
    "co_named_i2c": "cabinvigil.drivers.co_named_i2c",
    "co_named_line": "cabinvigil.drivers.co_named_line",
    "contact": "cabinvigil.drivers.contact",
    "ds18b20": "cabinvigil.drivers.ds18b20",
    "frame9_co": "cabinvigil.drivers.frame9_co",
    "frame9_co2": "cabinvigil.drivers.frame9_co2",
    "frame9_gas": "cabinvigil.drivers.frame9_gas",
    "frame9_o2": "cabinvigil.drivers.frame9_o2",
    "gas_bead_ads1115": "cabinvigil.drivers.gas_bead_ads1115",
    "ina219": "cabinvigil.drivers.ina219",
    "ina226": "cabinvigil.drivers.ina226",
    "ina228": "cabinvigil.drivers.ina228",
    "max17048": "cabinvigil.drivers.max17048",
    "modbus_co2": "cabinvigil.drivers.modbus_co2",
    "o2_amplified_ads1115": "cabinvigil.drivers.o2_amplified_ads1115",
    "o2_cell_ads1115": "cabinvigil.drivers.o2_cell_ads1115",
    "o2_key_register": "cabinvigil.drivers.o2_key_register",
    "o2_optical_line": "cabinvigil.drivers.o2_optical_line",
    "pm_frame": "cabinvigil.drivers.pm_frame",
    "pmsa003i": "cabinvigil.drivers.pmsa003i",
    "scd30": "cabinvigil.drivers.scd30",
    "scd4x": "cabinvigil.drivers.scd4x",
    "sen6x": "cabinvigil.drivers.sen6x",
    "sgp41": "cabinvigil.drivers.sgp41",
    "sht3x": "cabinvigil.drivers.sht3x",
    "sht4x": "cabinvigil.drivers.sht4x",
    "sps30": "cabinvigil.drivers.sps30",
    "stcc4": "cabinvigil.drivers.stcc4",
    "tmp117": "cabinvigil.drivers.tmp117",
}
"""By the word in the config, the module of the part."""


def part(name: str) -> PartInfo:
    """Return what is known of a part.

    Raises:
        KeyError: there is no such part; lists those there are.
    """
    found: PartInfo = _module(name).PART
    return found


def identifier(name: str) -> Identifier | None:
    """Return how to tell the part on its bus; None where it cannot be told.

    Raises:
        KeyError: there is no such part; lists those there are.
    """
    found: Identifier | None = _module(name).IDENTIFY
    return found


def _module(name: str) -> ModuleType:
    if name not in REGISTRY:
        known = ", ".join(sorted(REGISTRY))
        raise KeyError(f"no sensor is called {name!r}; the known kinds are {known}")
    return import_module(REGISTRY[name])
