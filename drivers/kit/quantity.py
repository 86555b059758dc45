"""The words that every layer shares: quantities, their units and physical ranges.

A *channel* is a quantity at a place, spelled `<quantity>` at the bunk and
`<quantity>_<place>` elsewhere: `temp_c`, `temp_c_outside`, `o2_pct_ceiling`.
Where two parts feed one channel, each part's own series is spelled
`<channel>__<part>`: `o2_pct__bunk_cell`.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

OUTSIDE_PLACES = frozenset({"outside", "glass"})
"""Places whose air or surface nobody breathes: level rules for sleepers skip them."""

VITAL = ("o2_pct", "co_ppm")
"""Quantities that protect life: what kills within a night without waking anyone.
Where one of them is not measured, or not known any more, sleepers are unguarded."""

CONTACT_MEANS = ("smoke", "gas", "co", "door", "bilge")
"""What a contact can be there to tell; stands where a channel has the place, so that
`contact_smoke` is the smoke alarm's."""
GUARDS = frozenset({"smoke", "gas", "co", "bilge"})
"""Of them those that guard people: the loss of one is a loss of what protects life."""

BUNK_WORDS = ("bunk", "berth", "bed")
"""Words for the usual place, where people sleep: in a channel it has none."""

_PLACE = re.compile(r"[a-z][a-z0-9]*")


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measured quantity."""

    name: str
    """The key in logs, config, MQTT and CSV; ends with its unit."""
    unit: str
    """The unit as people read it."""
    senml_unit: str
    """The symbol of RFC 8428 or RFC 8798."""
    low: float
    """Below this no working sensor in a cabin can read: a fault, never a value."""
    high: float
    """Above this no working sensor in a cabin can read."""
    decimals: int
    """Decimals that are worth showing and logging."""
    words: str
    """What people call it."""


def _table(*rows: Quantity) -> Mapping[str, Quantity]:
    return MappingProxyType({row.name: row for row in rows})


# Ranges are what air and parts can do, not what is healthy: a range must never hide
# a real danger.  O2 0.1 to 30: a sealed cabin can truly fall to any low value, but
# exactly 0 and below is a dead line (sensors.md, table 'how a wire fails', row 11).
# CO and CO2 reach to the parts' full scale with room above (sensors.md, 1 and 12); CO
# down to what a zero taken in foul air makes of clean air: 10 ppm is the most that a
# span takes, and what is below by more than its drift is a reversed cell or a wire.
# Four lead batteries in a row are charged with 58 V (unverified).  A gauge's estimate
# may run some way past full before it is corrected (our choice of how far).
QUANTITIES: Mapping[str, Quantity] = _table(
    Quantity("o2_pct", "%", "/100", 0.1, 30.0, 3, "oxygen"),
    Quantity("co_ppm", "ppm", "ppm", -12.0, 5000.0, 1, "carbon monoxide"),
    Quantity("co2_ppm", "ppm", "ppm", 250.0, 200000.0, 0, "carbon dioxide"),
    Quantity("gas_lel_pct", "% LEL", "/100", -2.0, 100.0, 1, "unburnt gas"),
    Quantity("temp_c", "°C", "Cel", -60.0, 84.9, 2, "temperature"),
    Quantity("rh_pct", "%", "%RH", 0.0, 120.0, 1, "relative humidity"),
    Quantity("pressure_hpa", "hPa", "hPa", 300.0, 1100.0, 2, "air pressure"),
    Quantity("pm2_5_ugm3", "µg/m³", "ug/m3", 0.0, 3000.0, 1, "fine dust"),
    Quantity("pm10_ugm3", "µg/m³", "ug/m3", 0.0, 5000.0, 1, "coarse dust"),
    Quantity("voc_index", "", "/", 0.0, 500.0, 0, "volatile organic index"),
    Quantity("nox_index", "", "/", 0.0, 500.0, 0, "nitrogen oxide index"),
    Quantity("voc_raw", "ticks", "count", 1.0, 65534.0, 0, "volatile organic signal"),
    Quantity("nox_raw", "ticks", "count", 1.0, 65534.0, 0, "nitrogen oxide signal"),
    Quantity("supply_v", "V", "V", 0.5, 60.0, 3, "supply voltage"),
    Quantity("supply_a", "A", "A", -100.0, 100.0, 3, "supply current"),
    Quantity("charge_pct", "%", "%EL", 0.0, 150.0, 1, "battery charge"),
    Quantity("cell_v", "V", "V", 1.0, 5.5, 3, "cell voltage"),
    Quantity("o2_hpa", "hPa", "hPa", 0.1, 400.0, 2, "oxygen partial pressure"),
    Quantity("contact", "", "/", 0.0, 1.0, 0, "contact"),
)


def split_channel(channel: str) -> tuple[Quantity, str] | None:
    """Split a channel into its quantity and place ('' at the bunk).

    A part's own series (`o2_pct__cell`) splits like its channel.
    None where the word is no channel.
    """
    word = channel.split("__", 1)[0]
    if word in QUANTITIES:
        return QUANTITIES[word], ""
    for name, quantity in QUANTITIES.items():
        if word.startswith(name + "_") and _PLACE.fullmatch(word[len(name) + 1 :]):
            return quantity, word[len(name) + 1 :]
    return None


def channel_of(quantity: str, place: str = "") -> str:
    """Format the channel of a quantity at a place ('' at the bunk)."""
    return f"{quantity}_{place}" if place else quantity


def is_breathed(channel: str) -> bool:
    """Return whether people breathe the air of this channel's place."""
    parts = split_channel(channel)
    return parts is not None and parts[1] not in OUTSIDE_PLACES
