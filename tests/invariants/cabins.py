"""The cabins that courses are played in: real configs, composed once each.

A part keeps its name and kind in every cabin, so that a reload finds it again.  A loose
cabin takes a guard off its sleepers by a key of a part; once the settings refuse it, or
say aloud that it is laxer, courses play in the cabin that it was made from instead.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from cabinvigil.daemon.compose.compose import CoreBuild, compose
from cabinvigil.daemon.settings.config import ConfigError, Settings, load
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.words import renderer

HEAD = """
[cabin]
name = "{name}"
volume_m3 = {volume_m3}
altitude_m = {altitude_m}
[i2c.main]
device = "/dev/i2c-1"
"""
BUNK_O2 = """
[part.bunk-o2]
kind = "o2_optical_line"
port = "/dev/ttyUSB0"
"""
CELL_O2 = """
[part.cell-o2]
kind = "o2_key_register"
bus = "main"
"""
BUNK_CO = """
[part.bunk-co]
kind = "frame9_co"
port = "/dev/ttyUSB1"
"""
CELL_CO = """
[part.cell-co]
kind = "co_cell_ads1115"
bus = "main"
"""
BUNK_CO2 = """
[part.bunk-co2]
kind = "scd4x"
bus = "main"
"""
BARO = """
[part.baro]
kind = "bme280"
bus = "main"
address = 0x76
"""
BUNK_AIR = """
[part.bunk-air]
kind = "sht4x"
bus = "main"
"""
STRICT = """
[alarm.co-level]
steps = [
    { at = 20.0, priority = "low" },
    { at = 70.0, priority = "medium" },
    { at = 200.0, priority = "high" },
    { at = 25.0, priority = "low", over_s = 3600.0 },
    { at = 8.0, priority = "low", over_s = 28800.0 },
    { at = 30.0, priority = "medium", over_s = 14400.0 },
    { at = 25.0, priority = "medium", over_s = 28800.0 },
]
ack_s = 120.0
[alarm.o2-low]
on_delay_s = 0.0
ack_s = 120.0
"""
"""Stricter than the packaged limits, and with the same waking steps: an alarm that
stands below them already would be acknowledged for them too."""


@dataclass(frozen=True, slots=True)
class CabinSpec:
    """One cabin, and what of its config is loose."""

    toml: str
    volume_m3: float = 11.0
    altitude_m: float = 640.0
    instead_of: str = ""
    """For a loose one: the cabin that is played where it is refused."""


ALL_PARTS = BUNK_O2 + BUNK_CO + BUNK_CO2 + BARO + BUNK_AIR
CABINS = {
    "two-gases": CabinSpec(BUNK_O2 + BUNK_CO),
    "van": CabinSpec(CELL_O2 + BUNK_CO, 6.0, 0.0),
    "trailer": CabinSpec(ALL_PARTS),
    "hut": CabinSpec(BUNK_O2 + CELL_O2 + CELL_CO + BUNK_CO2 + BARO, 40.0, 2500.0),
    "two-cells": CabinSpec(CELL_O2 + BUNK_CO + CELL_CO + BARO),
    "co-alone": CabinSpec(BUNK_CO + BUNK_AIR),
    "o2-alone": CabinSpec(CELL_O2 + BUNK_CO2),
    "strict": CabinSpec(ALL_PARTS + STRICT),
    "ceiling": CabinSpec(
        BUNK_O2 + CELL_O2 + 'place = "ceiling"\n' + BUNK_CO + BUNK_CO2, 20.0, 100.0
    ),
    "co-outside": CabinSpec(
        BUNK_O2 + BUNK_CO + 'place = "outside"\n', instead_of="two-gases"
    ),
    "old-values": CabinSpec(
        BUNK_O2 + "max_age_s = 3600.0\n" + BUNK_CO + "max_age_s = 3600.0\n",
        instead_of="two-gases",
    ),
    "o2-left-out": CabinSpec(
        BUNK_O2 + 'leave_out = ["o2_pct"]\n' + BUNK_CO, instead_of="two-gases"
    ),
}
SOUND = tuple(name for name, spec in CABINS.items() if not spec.instead_of)
LOOSE = tuple(name for name, spec in CABINS.items() if spec.instead_of)


@dataclass(frozen=True)
class BrokenTrend:
    """A trend with a bug: it raises at every reading."""

    def start(self) -> Any:
        """Return nothing."""

    def update(self, state: Any, now_s: float, values: Mapping[str, float]) -> Any:
        """Raise."""
        raise ZeroDivisionError("a bug of the trend's own")

    def estimate(self, state: Any, now_s: float) -> Any | None:
        """Raise."""
        raise ZeroDivisionError("a bug of the trend's own")

    def fields(self, estimate: Any) -> Mapping[str, Any]:
        """Return nothing."""
        return {}


@dataclass(frozen=True, slots=True)
class CabinBuild:
    """A cabin's config, composed."""

    name: str
    build: CoreBuild
    parts: tuple[str, ...]
    """The parts that the config names."""
    volume_m3: float
    altitude_m: float
    is_loose: bool


def _settings(name: str) -> Settings | None:
    spec = CABINS[name]
    head = HEAD.format(name=name, volume_m3=spec.volume_m3, altitude_m=spec.altitude_m)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "cabin.toml"
        path.write_text(head + spec.toml, encoding="utf-8")
        try:
            settings = load(path)
        except ConfigError:
            if spec.instead_of:
                return None
            raise
    return None if spec.instead_of and settings.laxer else settings


@cache
def cabin(name: str, *, trend: str) -> CabinBuild:
    """Compose a cabin; the one it was made from where it is refused or said aloud."""
    spec, settings = CABINS[name], _settings(name)
    if settings is None:
        return cabin(spec.instead_of, trend=trend)
    build = compose(
        settings.cabin,
        settings.parts,
        part_infos(settings.parts),
        settings.alarms,
        renderer(),
        buses=tuple(settings.i2c),
    )
    if trend != "real":
        port = BrokenTrend() if trend else None
        build = replace(build, setup=replace(build.setup, trend=port))
    return CabinBuild(
        name,
        build,
        tuple(settings.parts),
        spec.volume_m3,
        spec.altitude_m,
        bool(spec.instead_of),
    )
