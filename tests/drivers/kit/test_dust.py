"""Dust: full scale is 'this or more', beyond all dust is a fault."""

import pytest

from cabinvigil.drivers.kit import dust
from cabinvigil.drivers.kit.quantity import QUANTITIES
from cabinvigil.drivers.kit.steps import OutOfRangeError


@pytest.mark.parametrize("quantity", ["pm2_5_ugm3", "pm10_ugm3"])
def test_grades(quantity: str) -> None:
    """999 is a value, 1000 is at least that, and more than dust can be is refused."""
    air = dust.conditions()
    most = QUANTITIES[quantity].high
    assert dust.dust_sample(quantity, 999.0, air).quality == "good"
    assert dust.dust_sample(quantity, 1000.0, air).quality == "at-least"
    assert dust.dust_sample(quantity, most, air).value == most
    with pytest.raises(OutOfRangeError, match="more than dust can be"):
        dust.dust_sample(quantity, most + 1, air)


def test_mist_is_doubtful() -> None:
    """Above 90 % humidity mist counts as dust."""
    air = dust.conditions()
    air.inform("rh_pct", 96.0)
    assert dust.dust_sample("pm2_5_ugm3", 80.0, air).quality == "outside-range"
