"""Readings as SenML JSON (RFC 8428), with the unit symbols of RFC 8428 and RFC 8798.

Percent by volume is `/100` and never `%`: in SenML `%` is a second name of the plain
ratio, so 20.9 with `%` would say two thousand percent of oxygen.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple

from cabinvigil.drivers.kit.quantity import split_channel

MEDIA_TYPE = "application/senml+json"
"""RFC 8428 (check_values senml_rules_memory, unverified)."""
RELATIVE_BELOW_S = 2.0**28
"""A time below this is relative to now (RFC 8428 4.5.3; check_values
senml_rules_memory): so a clock that shows 1970 must give no absolute time."""


class SeriesReading(NamedTuple):
    """The newest value of one series."""

    series: str
    """As in the log: `o2_pct`, `temp_c_outside`, `o2_pct__bunk`."""
    value: float
    age_s: float
    """How long ago it was measured."""
    at_least: bool = False
    """The part was at full scale: the true value is this or more."""


VERSION = 26
"""Base version: 10, which all implement, and feature 4, secondary units (RFC 9100, from
memory): `/100`, `ppm` and `hPa` are of RFC 8798, and not valid without it."""


def pack(
    base_name: str, readings: Iterable[SeriesReading], wall: datetime
) -> list[Any]:
    """Encode readings as one SenML pack, an empty list for none.

    Args:
        base_name: goes before each series; letters, digits and `-:./_`.
        readings: of series that `split_channel` knows.
        wall: now, aware.

    Raises:
        ValueError: a series has no unit symbol.
    """
    now_s = round(wall.timestamp(), 3)
    base: dict[str, Any] = {"bn": base_name, "bver": VERSION}
    if now_s >= RELATIVE_BELOW_S:
        base["bt"] = now_s
    out: list[dict[str, Any]] = []
    for reading in readings:
        out.append({**base, **_record(reading)})
        base = {}
        if reading.at_least:
            out.append({"n": f"{reading.series}/at-least", "vb": True})
    return out


def _record(reading: SeriesReading) -> dict[str, Any]:
    parts = split_channel(reading.series)
    if parts is None:
        raise ValueError(f"series '{reading.series}' has no SenML unit")
    quantity = parts[0]
    value = round(reading.value, quantity.decimals)
    record: dict[str, Any] = {"n": reading.series, "u": quantity.senml_unit}
    record["v"] = value if quantity.decimals else int(value)
    if reading.age_s >= 0.5:
        record["t"] = -round(reading.age_s, 1)
    return record
