"""What the page calls each series, and how it shows its numbers."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import NamedTuple

from cabinvigil.daemon.text.units_said import Units


class Label(NamedTuple):
    """How one series is shown."""

    words: str
    unit: str
    """In which it comes, as it is written."""
    decimals: int


LABELS: Mapping[str, Label] = MappingProxyType(
    {
        # in the order in which they are listed
        "o2_pct": Label("oxygen", "%", 1),
        "co2_ppm": Label("carbon dioxide", "ppm", 0),
        "co_ppm": Label("carbon monoxide", "ppm", 0),
        "gas_lel_pct": Label("gas", "% LEL", 0),
        "dew_point_c": Label("dew point", "°C", 0),
        "temp_c_glass": Label("glass", "°C", 0),
        "temp_c": Label("warmth", "°C", 0),
        "rh_pct": Label("humidity", "%", 0),
        "temp_c_outside": Label("outside", "°C", 0),
        "pm2_5_ugm3": Label("dust", "µg/m³", 0),
        # an index has no scale but its place's usual air
        "voc_index": Label("VOC, usual 100", "index", 0),
        "nox_index": Label("NOx, usual 1", "index", 0),
        "supply_v": Label("battery", "V", 1),
        "charge_pct": Label("charge", "%", 0),
    }
)


def told(series: str, value: float, units: Units) -> tuple[float, str]:
    """Return a value of a series as the page has it, and its unit.

    It keeps a decimal more than is shown, for what draws it.
    """
    label = LABELS[series]
    number, unit = units.of_sign(label.unit, value)
    return round(number, label.decimals + 1), unit


def blind(unknown: Iterable[str]) -> str:
    """Say what protects life and is not measured beyond doubt; '' where all is."""
    words = [LABELS[name].words for name in unknown]
    return f"No reliable reading of {' or '.join(words)} now." if words else ""
