"""Conditions: outside the maker's range a part may be blind, and says so."""

import math

import pytest

from cabinvigil.drivers.kit.conditions import Conditions, is_pressure


def test_unknown_air_is_not_outside() -> None:
    """What nobody told is not held against the part."""
    assert Conditions((-10, 50)).quality() == ("good", "")


def test_each_end_is_named() -> None:
    """Below and above are told with the value and the limit."""
    air = Conditions((-10, 50), (15, 90))
    air.inform("temp_c", -12.5)
    quality, reason = air.quality()
    assert quality == "outside-range"
    assert "at -12.5 °C it is below -10" in reason
    air.inform("temp_c", 50.0)
    assert air.quality() == ("good", "")
    air.inform("rh_pct", 95.0)
    assert "at 95.0 % humidity it is above 90" in air.quality()[1]


def test_other_quantities_and_nonsense_are_passed_over() -> None:
    """What no air has, and what is of no use here, changes nothing."""
    air = Conditions((-10, 50))
    air.inform("pressure_hpa", 2000.0)
    air.inform("temp_c", math.nan)
    assert air.quality() == ("good", "")
    assert air.get("temp_c") is air.get("pressure_hpa") is None
    air.inform("pressure_hpa", 939.0)
    air.inform("co2_ppm", 900.0)
    assert (air.get("pressure_hpa"), air.get("co2_ppm")) == (939.0, None)
    assert air.quality() == ("good", "")


@pytest.mark.parametrize("value", [299.0, 1101.0, math.nan, math.inf])
def test_no_pressure(value: float) -> None:
    """Only what air can have is a pressure."""
    assert not is_pressure("pressure_hpa", value)
    assert not is_pressure("temp_c", 1000.0)
    assert is_pressure("pressure_hpa", 1000.0)


def test_what_is_not_known_any_more_is_forgotten() -> None:
    """NaN says so; it is no value, and leaves the part as if never told."""
    air = Conditions((-10.0, 50.0))
    air.inform("pressure_hpa", 939.0)
    air.inform("temp_c", 70.0)
    assert air.quality()[0] == "outside-range"
    for quantity in ("pressure_hpa", "temp_c"):
        air.inform(quantity, math.nan)
        assert air.get(quantity) is None
    assert air.quality() == ("good", "")
