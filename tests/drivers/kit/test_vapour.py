"""Vapour at a surface, against the air science's own saturation tables."""

import pytest

from cabinvigil.daemon.air import moisture
from cabinvigil.drivers.kit.vapour import rh_at_surface_pct, saturation_hpa


@pytest.mark.parametrize("temp_c", [-25.0, -9.0, 0.0, 12.0, 20.0, 40.0])
def test_saturation_is_that_of_the_tables(temp_c: float) -> None:
    """ASHRAE 2017, held in tests/air: within half a percent."""
    told = moisture.saturation_over_water_hpa(temp_c)
    assert saturation_hpa(temp_c) == pytest.approx(told, rel=0.005)


def test_humidity_at_a_colder_surface_is_more() -> None:
    """Air of 20 °C and 60 % at its dew point of 12 °C: 100 %."""
    assert rh_at_surface_pct(60.0, 20.0, 12.0) == pytest.approx(100.0, abs=0.5)
    assert rh_at_surface_pct(60.0, 20.0, 20.0) == 60.0
