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
    "co_cell_ads1115": "cabinvigil.drivers.co_cell_ads1115",
    "ds18b20": "cabinvigil.drivers.ds18b20",
    "frame9_co": "cabinvigil.drivers.frame9_co",
    "frame9_co2": "cabinvigil.drivers.frame9_co2",
    "frame9_o2": "cabinvigil.drivers.frame9_o2",
    "ina226": "cabinvigil.drivers.ina226",
    "o2_cell_ads1115": "cabinvigil.drivers.o2_cell_ads1115",
    "o2_key_register": "cabinvigil.drivers.o2_key_register",
    "o2_optical_line": "cabinvigil.drivers.o2_optical_line",
    "pm_frame": "cabinvigil.drivers.pm_frame",
    "scd4x": "cabinvigil.drivers.scd4x",
    "sgp41": "cabinvigil.drivers.sgp41",
    "sht4x": "cabinvigil.drivers.sht4x",
    "sps30": "cabinvigil.drivers.sps30",
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
