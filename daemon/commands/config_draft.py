"""A first config as text, from what a person answered. Pure."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from cabinvigil.daemon.text.units import unit_of
from cabinvigil.daemon.text.units_said import SI, Units, units_named

USB_PORT = (
    "/dev/serial/by-path/platform-fd500000.pcie-pci-0000:01:00.0-usb-0:1.1:1.0-port0"
)
_SOURCES = ('temperature_from = "baro"', 'humidity_from = "baro"')
_OPTICAL = (
    "[part.bunk-o2]",
    'kind = "o2_optical_line"',
    'port = "/dev/serial0"',
    'pressure_from = "baro"',
    *_SOURCES,
)
_MODULE = (
    "[part.bunk-co]",
    'kind = "frame9_co"',
    f'port = "{USB_PORT}"  # yours: ls -l /dev/serial/by-path',
    *_SOURCES,
)
_O2_CELL = (
    "[part.bunk-cell]",
    'kind = "o2_cell_ads1115"',
    'bus = "main"',
    "address = 0x48",
    'pressure_from = "baro"',
    'temperature_from = "baro"',
)
_CO_CELL = (
    "[part.bunk-co]",
    'kind = "co_cell_ads1115"',
    'bus = "main"',
    "address = 0x49",
    *_SOURCES,
)
_BARO = ("[part.baro]", 'kind = "bme280"', 'bus = "main"', "address = 0x76")
_CO2 = ("[part.bunk-co2]", 'kind = "scd4x"', 'bus = "main"', 'pressure_from = "baro"')
_AIR = ("[part.bunk-air]", 'kind = "sht4x"', 'bus = "main"')
_BATTERY = ("[part.battery]", 'kind = "ina226"', 'bus = "main"', "address = 0x40")
_PANE = (
    "[part.pane]",
    'kind = "tmp117"',
    'bus = "main"',
    "address = 0x4a",
    'place = "glass"',
)


@dataclass(frozen=True, slots=True)
class Build:
    """A list of parts that hardware.md describes."""

    words: str
    tables: tuple[tuple[str, ...], ...]

    @property
    def lines(self) -> list[str]:
        """Return its tables, the bus before them."""
        found = ["[i2c.main]", 'device = "/dev/i2c-1"', ""]
        for table in self.tables:
            found += [*table, ""]
        return found[:-1]


BUILDS: Mapping[str, Build] = MappingProxyType(
    {
        "least": Build(
            "oxygen and carbon monoxide modules, air pressure",
            (_OPTICAL, _MODULE, _BARO),
        ),
        "cells": Build(
            "the same gases with bare cells on one I2C bus, no serial line",
            (_O2_CELL, _CO_CELL, _BARO),
        ),
        "usual": Build(
            "the minimum, plus carbon dioxide, humidity, battery",
            (_OPTICAL, _MODULE, _BARO, _CO2, _AIR, _BATTERY),
        ),
        "thorough": Build(
            "the usual, plus a second oxygen sensor and the window",
            (_OPTICAL, _MODULE, _BARO, _CO2, _AIR, _BATTERY, _O2_CELL, _PANE),
        ),
    }
)
"""By the word that chooses it; hardware.md, 'Three builds', says what to buy."""


_TYPED = MappingProxyType({"btu_h": "BTU/h", "f": "F"})
"""Units that people type otherwise than they are called here."""


def toml(value: object, key: str = "", units: Units = SI) -> str:
    """Format a value of [cabin]: a text, a number or a fuel's shares.

    Args:
        value: in the unit that the key names.
        key: of the config.
        units: in which a number is written, behind it its unit where that is another.
    """
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, Mapping):
        shares = ", ".join(f"{gas} = {share:g}" for gas, share in value.items())
        return f"{{ {shares} }}"
    unit = unit_of(key)[1]
    if isinstance(value, int | float) and units.unit(unit) != unit:
        there = float(f"{units.value(unit, value):.5g}")
        return f'"{there:.10g} {_TYPED.get(units.unit(unit), units.unit(unit))}"'
    if isinstance(value, float):
        # So that what was typed in other units is said back as it was typed.
        return repr(float(f"{value:.6g}"))
    return str(value)


def draft(
    cabin: Mapping[str, object],
    granted: Mapping[str, str],
    parts: list[str],
    buzzer_line: str,
) -> str:
    """Return the text of a config.

    Args:
        cabin: the keys of [cabin], in their order.
        granted: what was taken for granted, by key.
        parts: the lines of buses and parts.
        buzzer_line: '' where nothing sounds.
    """
    return "\n".join(_lines(cabin, granted, parts, buzzer_line)) + "\n"


def _lines(
    cabin: Mapping[str, object],
    granted: Mapping[str, str],
    parts: list[str],
    buzzer_line: str,
) -> Iterator[str]:
    units = units_named(cabin.get("units"))
    yield "# A first config, made by `cabinvigil config --ask`.  Each key ends with the"
    yield "# unit of a bare number; `cabinvigil config --example` shows every key."
    yield "# This monitor is an extra layer. It does not replace certified alarms."
    yield ""
    yield "[cabin]"
    for key, value in cabin.items():
        note = f"  # {granted[key]}" if key in granted else ""
        yield f"{key} = {toml(value, key, units)}{note}"
    yield ""
    yield "# A sensor that wears out needs its first day: in_service = 2026-10-01"
    yield ""
    yield from parts
    if buzzer_line:
        yield ""
        yield "[buzzer]"
        yield f'line = "{buzzer_line}"'
