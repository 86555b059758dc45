"""A first config as text, from what a person answered. Pure."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from cabinvigil.daemon.text.units import unit_of
from cabinvigil.daemon.text.units_said import SI, Units, units_named

USB_PORT = (
    "/dev/serial/by-path/platform-fd500000.pcie-pci-0000:01:00.0-usb-0:1.1:1.0-port0"
)
GAS_PORT = USB_PORT.replace("1.1:1.0", "1.3:1.0")
_LOOK = "  # yours: ls -l /dev/serial/by-path"


def _air_from(giver: str) -> tuple[str, str]:
    return (f'temperature_from = "{giver}"', f'humidity_from = "{giver}"')


def _optical(air: str) -> tuple[str, ...]:
    return (
        "[part.bunk-o2]",
        'kind = "o2_optical_line"',
        'port = "/dev/serial0"',
        'pressure_from = "baro"',
        *_air_from(air),
    )


def _module(air: str) -> tuple[str, ...]:
    return (
        "[part.bunk-co]",
        'kind = "frame9_co"',
        f'port = "{USB_PORT}"{_LOOK}',
        *_air_from(air),
    )


def _o2_cell(air: str) -> tuple[str, ...]:
    return (
        "[part.bunk-cell]",
        'kind = "o2_cell_ads1115"',
        'bus = "main"',
        "address = 0x48",
        'pressure_from = "baro"',
        f'temperature_from = "{air}"',
    )


_CO_CELL = (
    "[part.bunk-co]",
    'kind = "co_cell_ads1115"',
    'bus = "main"',
    "address = 0x49",
    *_air_from("baro"),
)
_BARO = ("[part.baro]", 'kind = "bme280"', 'bus = "main"', "address = 0x76")
_USUAL = (
    _optical("bunk-air"),
    _module("bunk-air"),
    _BARO,
    (
        "[part.bunk-co2]",
        'kind = "scd4x"',
        'bus = "main"',
        'pressure_from = "baro"',
        'leave_out = ["temp_c", "rh_pct"]  # it warms itself',
    ),
    ("[part.bunk-air]", 'kind = "sht4x"', 'bus = "main"'),
    (
        "[part.battery]",
        'kind = "ina226"',
        'bus = "main"',
        "address = 0x40",
        "options = { shunt_mohm = 1.5 }  # yours: printed on the shunt",
    ),
)
_PANE = (
    "[part.pane]",
    'kind = "ds18b20"',
    'path = "/sys/bus/w1/devices/28-000000000001/w1_slave"  # yours: its folder there',
    'place = "glass"',
)
_THOROUGH = (
    _o2_cell("bunk-air"),
    (
        "[part.pane]",
        'kind = "tmp117"',
        'bus = "main"',
        "address = 0x49",
        'place = "glass"',
    ),
    (
        "[part.outdoors]",
        'kind = "ds18b20"',
        'path = "/sys/bus/w1/devices/28-000000000001/w1_slave"  # yours, as above',
        'place = "outside"',
    ),
    ("[part.dust]", 'kind = "sps30"', 'bus = "main"'),
    (
        "[part.floor-gas]",
        'kind = "frame9_gas"',
        f'port = "{GAS_PORT}"{_LOOK}',
        'place = "floor"',
        'pressure_from = "baro"',
        *_air_from("bunk-air"),
        "options = { answer_lel_pct = 1.0 }  # yours: on its sheet",
    ),
)
_SHOWN_AND_SENT = (
    ("[light]", 'line = "GPIO23"'),
    ("[button]", 'line = "GPIO24"', "active_low = true"),
    ("[log]", 'folder = "/var/log/cabinvigil"'),
    (
        "[mqtt]",
        'host = "127.0.0.1"',
        "port = 1883",
        "tls = false",
        "# As `cabinvigil-broker-setup` makes both, beside them:",
        '# user = "watcher"',
        '# password_file = "/etc/cabinvigil/mqtt-password"',
    ),
)


@dataclass(frozen=True, slots=True)
class Build:
    """A list of parts that hardware.md describes."""

    words: str
    tables: tuple[tuple[str, ...], ...]
    second_line: str = ""
    """Of its second sounder; '' where it has one alone."""

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
            (_optical("baro"), _module("baro"), _BARO),
        ),
        "cells": Build(
            "the same gases with bare cells on one I2C bus, no serial line",
            (_o2_cell("baro"), _CO_CELL, _BARO),
        ),
        "usual": Build(
            "the minimum, plus carbon dioxide, humidity, window, battery, light, "
            "button, phone",
            (*_USUAL, _PANE, *_SHOWN_AND_SENT),
            "GPIO27",
        ),
        "thorough": Build(
            "the usual, plus a second oxygen sensor, gas, dust, the air outside",
            (*_USUAL, *_THOROUGH, *_SHOWN_AND_SENT),
            "GPIO27",
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
    second_line: str = "",
) -> str:
    """Return the text of a config.

    Args:
        cabin: the keys of [cabin], in their order.
        granted: what was taken for granted, by key.
        parts: the lines of buses and parts.
        buzzer_line: '' where nothing sounds.
        second_line: of a second sounder; '' without one, or where nothing sounds.
    """
    lines = [*_lines(cabin, granted, parts, buzzer_line)]
    if buzzer_line and second_line:
        lines.append(f'second_line = "{second_line}"')
    return "\n".join(lines) + "\n"


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
