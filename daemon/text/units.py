"""Units: one table of what people write and read, and what each is in ours.

Ours are those that keys end with (`_c`, `_kw`, `_m3`): config, log and messages speak
them alone.  Sources: NIST Special Publication 811 (2008), appendix B.8, its factors as
a handbook quotes them (Btu_IT, inch of mercury) or unverified; `pint` agrees with
every row (tests/text/test_units.py).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

FT_M = 0.3048
"""Exact (SP 811)."""
IN_CM = 2.54
"""Exact (SP 811)."""
LB_KG = 0.45359237
"""Exact (SP 811)."""
BTU_J = 1055.05585262
"""The International Table Btu, exact (SP 811, footnote 9; its list rounds it)."""
INHG_PA = 3386.389
"""The conventional inch of mercury (SP 811)."""
QT_M3 = 231.0 / 4.0 * (IN_CM / 100.0) ** 3
"""The US liquid quart: a gallon is 231 cubic inches (SP 811, unverified)."""
MI_M = 1609.344
"""The international mile, exact (SP 811)."""
NMI_M = 1852.0
"""The nautical mile, exact (SP 811)."""
F_K = 1.0 / 1.8
"""A degree Fahrenheit as a difference, exact (SP 811)."""
F_ZERO = 32.0
"""Degrees Fahrenheit at 0 degrees Celsius, exact (SP 811)."""

PROPANE_KWH_G = 0.01398
"""By its higher heating value of 50.3 MJ/kg (air/combustion.py); butane has 2 % less,
which the config of a heater that burns butane says better in kW."""

_BTU_KWH = BTU_J / 3.6e6
_HOUR_S, _MINUTE_S = 3600.0, 60.0


@dataclass(frozen=True, slots=True)
class Unit:
    """How a unit that people write turns into one of ours."""

    ours: str
    """The unit as our keys end: `m3`."""
    scale: float
    """Ours = (theirs + shift) x scale."""
    shift: float = 0.0
    sign: str = ""
    """As it is written behind a number; '': as it is called here."""


UNITS: Mapping[str, Unit] = MappingProxyType(
    {
        # rooms, and what flows through them
        "m3": Unit("m3", 1.0, sign="m³"),
        "ft3": Unit("m3", FT_M**3, sign="ft³"),
        "l": Unit("m3", 0.001, sign="litres"),
        "qt": Unit("m3", QT_M3),
        "m3_h": Unit("m3_h", 1.0, sign="m³/h"),
        "ft3_min": Unit("m3_h", FT_M**3 * _HOUR_S / _MINUTE_S, sign="cfm"),
        # openings, lengths, heights
        "cm2": Unit("cm2", 1.0, sign="cm²"),
        "in2": Unit("cm2", IN_CM**2, sign="in²"),
        "mm2": Unit("cm2", 0.01, sign="mm²"),
        "m2": Unit("cm2", 10_000.0, sign="m²"),
        "m": Unit("m", 1.0),
        "ft": Unit("m", FT_M),
        "in": Unit("m", IN_CM / 100.0),
        "cm": Unit("m", 0.01),
        "mm": Unit("m", 0.001),
        # heat
        "kw": Unit("kw", 1.0, sign="kW"),
        "w": Unit("kw", 0.001, sign="W"),
        "btu_h": Unit("kw", _BTU_KWH, sign="BTU/h"),
        "g_h": Unit("kw", PROPANE_KWH_G, sign="g/h of propane"),
        "kwh": Unit("kwh", 1.0, sign="kWh"),
        "btu": Unit("kwh", _BTU_KWH, sign="BTU"),
        "w_k": Unit("w_k", 1.0, sign="W/K"),
        "btu_h_f": Unit("w_k", 1e3 * _BTU_KWH / F_K, sign="BTU/h/°F"),
        "w_m2k": Unit("w_m2k", 1.0, sign="W/(m² K)"),
        "btu_h_ft2f": Unit(
            "w_m2k", 1e3 * _BTU_KWH / F_K / FT_M**2, sign="BTU/(h ft² °F)"
        ),
        # weights
        "kg": Unit("kg", 1.0),
        "g": Unit("kg", 0.001),
        "lb": Unit("kg", LB_KG),
        # temperatures, and differences of them
        "c": Unit("c", 1.0, sign="°C"),
        "f": Unit("c", F_K, -F_ZERO, sign="°F"),
        "k": Unit("k", 1.0, sign="K"),
        "f_apart": Unit("k", F_K, sign="°F"),
        # weather
        "mps": Unit("mps", 1.0, sign="m/s"),
        "kmh": Unit("mps", 1000.0 / _HOUR_S, sign="km/h"),
        "mph": Unit("mps", MI_M / _HOUR_S),
        "kn": Unit("mps", NMI_M / _HOUR_S),
        "hpa": Unit("hpa", 1.0, sign="hPa"),
        "inhg": Unit("hpa", INHG_PA / 100.0, sign="inHg"),
        # what both systems write alike
        "s": Unit("s", 1.0),
        "ms": Unit("s", 0.001),
        "min": Unit("s", _MINUTE_S),
        "h": Unit("s", _HOUR_S),
        "per_h": Unit("per_h", 1.0, sign="/h"),
        "days": Unit("days", 1.0),
        "weeks": Unit("days", 7.0),
        "pct": Unit("pct", 1.0, sign="%"),
        "ppm": Unit("ppm", 1.0),
        "ugm3": Unit("ugm3", 1.0, sign="µg/m³"),
        "mb": Unit("mb", 1.0, sign="MB"),
        "gb": Unit("mb", 1000.0, sign="GB"),
        "kb": Unit("mb", 0.001, sign="kB"),
        "hz": Unit("hz", 1.0, sign="Hz"),
        "khz": Unit("hz", 1000.0, sign="kHz"),
        "v": Unit("v", 1.0, sign="V"),
        "mv": Unit("v", 0.001, sign="mV"),
        "a": Unit("a", 1.0, sign="A"),
        "ah": Unit("ah", 1.0, sign="Ah"),
        "na": Unit("na", 1.0, sign="nA"),
        "ohm": Unit("ohm", 1.0),
        "mohm": Unit("ohm", 0.001),
        "na_per_ppm": Unit("na_per_ppm", 1.0, sign="nA/ppm"),
        "pct_per_k": Unit("pct_per_k", 1.0, sign="%/K"),
        "pct_per_f": Unit("pct_per_k", 1.0 / F_K, sign="%/°F"),
    }
)
"""By the word at a key's end, or behind a number, in small letters."""

_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        "m³": "m3",
        "cbm": "m3",
        "ft³": "ft3",
        "cuft": "ft3",
        "cu ft": "ft3",
        "cubic feet": "ft3",
        "litre": "l",
        "litres": "l",
        "liters": "l",
        "quarts": "qt",
        "m³/h": "m3_h",
        "ft³/min": "ft3_min",
        "ft3/min": "ft3_min",
        "cm²": "cm2",
        "sqin": "in2",
        "sq in": "in2",
        "square inches": "in2",
        "in²": "in2",
        "m²": "m2",
        "mm²": "mm2",
        "watts": "w",
        "btu/hr": "btu_h",
        "btuh": "btu_h",
        "g/h": "g_h",
        "w/(m²k)": "w_m2k",
        "w/(m² k)": "w_m2k",
        "w/m2k": "w_m2k",
        "w/m²k": "w_m2k",
        "btu/(h °f)": "btu_h_f",
        "btu/h/f": "btu_h_f",
        "btu/(h f)": "btu_h_f",
        "btu/(h ft2 f)": "btu_h_ft2f",
        "btu/(h ft² °f)": "btu_h_ft2f",
        "btu/h/ft2/f": "btu_h_ft2f",
        "btu/h/ft²/°f": "btu_h_ft2f",
        "lbs": "lb",
        "pounds": "lb",
        "celsius": "c",
        "degc": "c",
        "degrees c": "c",
        "degrees celsius": "c",
        "fahrenheit": "f",
        "degf": "f",
        "degrees f": "f",
        "degrees fahrenheit": "f",
        "kelvin": "k",
        "knots": "kn",
        "metres": "m",
        "meters": "m",
        "feet": "ft",
        "foot": "ft",
        "'": "ft",
        '"': "in",
        "inches": "in",
        "inch": "in",
        "sec": "s",
        "seconds": "s",
        "minutes": "min",
        "hours": "h",
        "per h": "per_h",
        "an hour": "per_h",
        "day": "days",
        "week": "weeks",
        "percent": "pct",
        "ug/m3": "ugm3",
        "\u03bcg/m³": "ugm3",  # the Greek letter in place of the micro sign
        "ohms": "ohm",
        "%/f": "pct_per_f",
    }
)
"""What people write besides a unit's own word and sign, in small letters."""

DIFFERENCES = frozenset({"temp_offset_c", "dead_band_c"})
"""Keys that end with a temperature's unit and are a difference of two."""

_APART = MappingProxyType({"c": "k", "f": "f_apart"})


def _read_as() -> Mapping[str, str]:
    """Return every unit by what it may be written as."""
    signs = {unit.sign.lower(): word for word, unit in UNITS.items() if unit.sign}
    # A difference is written with the sign of the temperature itself.
    signs |= {"°f": "f"}
    return MappingProxyType({**dict(_SPELLINGS), **signs, **{w: w for w in UNITS}})


READ_AS = _read_as()


def unit_of(key: str) -> tuple[str, str]:
    """Split a key into its stem and the unit it ends with ('' where it has none)."""
    words = key.split("_")
    for first in range(1, len(words)):
        unit = "_".join(words[first:])
        if unit in UNITS:
            return "_".join(words[:first]), unit
    return key, ""


def unit_of_key(key: str) -> str:
    """Return the unit in which a key's number stands ('' where none is named)."""
    return difference(unit_of(key)[1]) if key in DIFFERENCES else unit_of(key)[1]


def difference(unit: str) -> str:
    """Return the unit of a difference of two values in a unit."""
    return _APART.get(unit, unit)


def convert(value: float, theirs: str, ours: str) -> float | None:
    """Turn a value into our unit, or None where the two measure different things."""
    if theirs not in UNITS or ours not in UNITS:
        return None
    source, target = UNITS[theirs], UNITS[ours]
    if source.ours != target.ours:
        return None
    return (value + source.shift) * source.scale / target.scale - target.shift


def with_powers(sign: str) -> str:
    """Write a unit's powers as they are printed: `m³/h`."""
    return sign.replace("2", "²").replace("3", "³")


def sign_of(unit: str) -> str:
    """Return how a unit is written; a word that is no unit of ours as it is."""
    known = UNITS.get(unit)
    return unit if known is None else known.sign or unit
