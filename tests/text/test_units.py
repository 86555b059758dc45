"""One table of units, checked against `pint`, and the systems in which people read."""

import math
import re

import pint
import pytest
from hypothesis import given
from hypothesis import settings as tuned
from hypothesis import strategies as st
from scipy import constants

from cabinvigil.daemon.air.combustion import FUELS, power_kw_hhv
from cabinvigil.daemon.text.units import (
    DIFFERENCES,
    READ_AS,
    UNITS,
    convert,
    difference,
    sign_of,
    unit_of,
    unit_of_key,
    with_powers,
)
from cabinvigil.daemon.text.units_said import (
    BY_SIGN,
    IN_US,
    SI,
    US,
    units_named,
)

PINT = pint.UnitRegistry()
# Of one fuel; held to its heat of combustion below.
PINT.define("propane_gram_an_hour = 13.98 watt")
THEIRS = {
    # ours: as pint calls it (0.25: its definitions cite NIST SP 811 and SP 1038)
    "m3": "meter**3",
    "ft3": "foot**3",
    "l": "liter",
    "qt": "quart",
    "m3_h": "meter**3/hour",
    "ft3_min": "foot**3/minute",
    "cm2": "centimeter**2",
    "in2": "inch**2",
    "mm2": "millimeter**2",
    "m2": "meter**2",
    "m": "meter",
    "ft": "foot",
    "in": "inch",
    "cm": "centimeter",
    "mm": "millimeter",
    "kw": "kilowatt",
    "w": "watt",
    "btu_h": "Btu_it/hour",
    "g_h": "propane_gram_an_hour",
    "kwh": "kilowatt_hour",
    "btu": "Btu_it",
    "w_k": "watt/delta_degC",
    "btu_h_f": "Btu_it/hour/delta_degF",
    "w_m2k": "watt/meter**2/delta_degC",
    "btu_h_ft2f": "Btu_it/hour/foot**2/delta_degF",
    "kg": "kilogram",
    "g": "gram",
    "lb": "pound",
    "c": "degC",
    "f": "degF",
    "k": "delta_degC",
    "f_apart": "delta_degF",
    "mps": "meter/second",
    "kmh": "kilometer/hour",
    "mph": "mile/hour",
    "kn": "knot",
    "hpa": "hectopascal",
    "inhg": "inch_Hg",
    "s": "second",
    "ms": "millisecond",
    "min": "minute",
    "h": "hour",
    "per_h": "1/hour",
    "days": "day",
    "weeks": "week",
    "pct": "percent",
    "ppm": "ppm",
    "ugm3": "microgram/meter**3",
    "mb": "megabyte",
    "gb": "gigabyte",
    "kb": "kilobyte",
    "hz": "hertz",
    "khz": "kilohertz",
    "v": "volt",
    "mv": "millivolt",
    "a": "ampere",
    "ah": "ampere_hour",
    "na": "nanoampere",
    "ohm": "ohm",
    "mohm": "milliohm",
    "na_per_ppm": "nanoampere/ppm",
    "pct_per_k": "percent/delta_degC",
    "pct_per_f": "percent/delta_degF",
}
# Pint's inch of mercury is 13 595.1 kg/m3 x 9.80665 m/s2; SP 811 lists seven digits.
CLOSE = 2e-7
VALUES = st.floats(-1e5, 1e5, allow_nan=False).filter(lambda one: abs(one) > 1e-3)


def by_pint(value: float, source: str, target: str) -> float:
    return float(PINT.Quantity(value, THEIRS[source]).to(THEIRS[target]).magnitude)


def test_every_unit_is_checked() -> None:
    """A row that pint is not asked about would be a number that nobody checked."""
    assert THEIRS.keys() == UNITS.keys()
    assert all(UNITS[unit.ours].scale == 1.0 for unit in UNITS.values())
    assert all(IN_US[unit].unit in UNITS for unit in IN_US)


def test_grams_an_hour_are_propanes_heat() -> None:
    """Its higher heating value, 2 219.2 kJ/mol of 44.096 g (from memory).

    Half a per cent apart at most; butane stays within three.
    """
    assert convert(1000.0, "g_h", "kw") == pytest.approx(
        2219.2 / 44.096 / 3.6, rel=0.005
    )
    for fuel, most in (("propane", 0.005), ("butane", 0.03)):
        of_model = power_kw_hhv(FUELS[fuel], 1.0)
        assert convert(1000.0, "g_h", "kw") == pytest.approx(of_model, rel=most)


@pytest.mark.parametrize("word", UNITS)
@tuned(max_examples=20)
@given(value=VALUES)
def test_each_unit_is_converted_as_pint_does_it_both_ways(
    word: str, value: float
) -> None:
    ours = UNITS[word].ours
    there = convert(value, word, ours)
    back = convert(value, ours, word)
    assert there is not None
    assert back is not None
    # Near the zero of a scale that is not its own a few digits are lost: 1e-4 of them.
    assert there == pytest.approx(by_pint(value, word, ours), rel=CLOSE, abs=1e-9)
    assert back == pytest.approx(by_pint(value, ours, word), rel=CLOSE, abs=1e-9)


def test_scipy_agrees_too() -> None:
    """SciPy's constants (CODATA and NIST SP 811 factors) turn each unit likewise."""
    known = {
        ("ft3", "m3"): constants.foot**3,
        ("l", "m3"): constants.liter,
        ("in2", "cm2"): constants.inch**2 * 1e4,
        ("ft", "m"): constants.foot,
        ("btu_h", "kw"): constants.Btu_IT / constants.hour / 1e3,
        ("lb", "kg"): constants.lb,
        ("kmh", "mps"): constants.kmh,
        ("mph", "mps"): constants.mph,
        ("kn", "mps"): constants.knot,
        ("h", "s"): constants.hour,
    }
    for (theirs, ours), factor in known.items():
        assert convert(3.0, theirs, ours) == pytest.approx(3.0 * factor, rel=1e-6)
    for degrees in (-40.0, 14.0, 98.6):
        celsius = constants.convert_temperature(degrees, "F", "C")
        assert convert(degrees, "f", "c") == pytest.approx(celsius)
    assert convert(1.0, "kg", "m3") is None
    assert convert(1.0, "stone", "kg") is None


@pytest.mark.parametrize("unit", IN_US)
@tuned(max_examples=30)
@given(value=VALUES, decimals=st.integers(0, 2))
def test_a_number_is_converted_once_and_then_rounded(
    unit: str, value: float, decimals: int
) -> None:
    """The text is the nearest to what pint gives for the value itself."""
    sharp = decimals + IN_US[unit].decimals
    told = US.number(unit, value, decimals)
    wanted = by_pint(value, unit, IN_US[unit].unit)
    off = abs(float(told.replace(",", "")) - wanted)
    assert off <= 0.5000001 * 10.0**-sharp + CLOSE * abs(wanted)
    assert US.said(unit, value, decimals) == f"{told} {sign_of(IN_US[unit].unit)}"
    assert SI.number(unit, value, decimals) == f"{value:z.{decimals}f}"


@pytest.mark.parametrize("unit", IN_US)
@tuned(max_examples=30)
@given(value=VALUES, digits=st.integers(2, 3))
def test_a_figure_keeps_the_digits_that_matter(
    unit: str, value: float, digits: int
) -> None:
    for told in (US.figure(unit, value, digits), US.given(unit, value)):
        wanted = by_pint(value, unit, IN_US[unit].unit)
        size = 10.0 ** math.floor(math.log10(abs(wanted)))
        # At most two or three decimals, and nothing below them.
        assert abs(float(told.replace(",", "")) - wanted) <= max(0.06 * size, 0.006)


def test_a_difference_of_temperatures_has_no_zero_of_its_own() -> None:
    """A degree more is 1.8 more, not 33.8."""
    assert US.said("k", 1.0, 1) == "1.8 °F"
    assert US.said("c", 1.0, 1) == "33.8 °F"
    assert US.of_sign("°C", 5.0, apart=True) == (pytest.approx(9.0), "°F")
    assert US.of_sign("°C", 5.0) == (pytest.approx(41.0), "°F")
    assert {unit_of_key(key) for key in DIFFERENCES} == {"k"}
    assert (difference("c"), difference("hpa")) == ("k", "hpa")


def test_what_both_write_alike_stays() -> None:
    """Shares of gas, dust, volts: as they are, in either."""
    for sign in ("%", "ppm", "% LEL", "V", "µg/m³", ""):
        assert US.of_sign(sign, 12.5) == (12.5, sign)
    assert SI.of_sign("°C", 12.5) == (12.5, "°C")
    assert US.said("ppm", 1234.0, 0, " ") == "1,234 ppm"
    assert SI.said("ppm", 1234.0, 0, " ") == "1234 ppm"
    assert (BY_SIGN["°C"], BY_SIGN["hPa"]) == ("c", "hpa")


def test_numbers_as_people_write_them() -> None:
    """Commas between thousands; no more digits than the number in SI had."""
    assert US.said("kw", 1.6, 1) == "5,500 BTU/h"
    assert US.given_said("kw", 1.46536) == "5,000 BTU/h"
    assert US.figure("kwh", 13.5) == "46,000"
    assert US.spread("kwh", (12.0, 13.5, 15.0)) == "46,000 (41,000 to 51,000)"
    assert US.spread("kg", (0.1, None, 0.2)) == "not known"
    assert US.fixed("kg", (0.2, 0.3, 0.4), 1) == "0.7 (0.4 to 0.9)"
    assert US.said("m", 1849.0, -2) == "6,100 ft"
    assert SI.said("m", 1849.0, -2, " ") == "1800 m"
    assert US.said("hpa", 1013.25) == "29.92 inHg"
    assert US.said("c", -17.9) == "0 °F"
    assert US.span_said("c", (-10.0, 50.0)) == "14 to 122 °F"
    assert SI.span_said("c", (-10.0, 50.0)) == "-10 to 50 °C"
    assert with_powers(US.sign("m3")) == "ft³"


def test_keys_tell_their_unit() -> None:
    assert unit_of("volume_m3") == ("volume", "m3")
    assert unit_of("glass_u_w_m2k") == ("glass_u", "w_m2k")
    assert unit_of("leak_per_h") == ("leak", "per_h")
    assert unit_of("name") == ("name", "")


def test_the_words_of_the_config_name_the_systems() -> None:
    assert units_named("us") is US
    assert [units_named(one) for one in ("si", None, 7, "imperial")] == [SI] * 4
    assert units_named(None, US) is US


def test_no_spelling_is_two_units() -> None:
    """In small letters, as it is looked up; and every unit's own sign is known."""
    assert all(word == word.lower() and READ_AS[word] in UNITS for word in READ_AS)
    for word in UNITS.keys() - {"f_apart"}:
        assert READ_AS[sign_of(word).lower()] == word
    # A number ends where its unit begins.
    assert not [word for word in READ_AS if re.match(r"[\d.,]", word)]
