"""Conditions: outside the maker's range a part may be blind, and says so."""

import math

from cabinvigil.drivers.kit.conditions import Conditions


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
    """A pressure says nothing here, and a value that is none changes nothing."""
    air = Conditions((-10, 50))
    air.inform("pressure_hpa", 2000.0)
    air.inform("temp_c", math.nan)
    assert air.quality() == ("good", "")
    assert air.get("temp_c") is None
