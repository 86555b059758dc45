"""The air outdoors against the standard atmosphere and Dalton's law."""

import pytest
from fluids.atmosphere import ATMOSPHERE_1976

from cabinvigil.daemon.air.atmosphere import (
    O2_DRY_PCT,
    OutsideAir,
    altitude_like_m,
    pressure_hpa,
    sea_level_equivalent_pct,
)
from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from tests.air.published import rows, value


@pytest.mark.parametrize("row", rows("std_atm_ashrae"), ids=str)
def test_pressure_by_the_handbook(row):
    """ASHRAE Handbook 2017, ch. 1 Table 1; 2 Pa to 1 000 m, 20 at 4 000.

    Its heights are geopotential or geometric, which part by 13 Pa at 4 000 m.
    """
    tolerance_pa = 2.0 if row["alt_m"] <= 1000 else 20.0
    assert 100 * pressure_hpa(row["alt_m"]) == pytest.approx(
        row["p_pa"], abs=tolerance_pa
    )


@pytest.mark.parametrize("altitude_m", [0, 640, 2500, 5000])
def test_pressure_by_the_fluids_library(altitude_m):
    """fluids 1.3, US Standard Atmosphere 1976, geometric heights: 0.1 %."""
    theirs = ATMOSPHERE_1976(altitude_m).P / 100
    assert pressure_hpa(altitude_m) == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize("row", rows("std_atm_po2"), ids=str)
def test_oxygen_pressure_by_height(row):
    """ISO 2533 and 20.946 %: pO2 and the sea-level percent, within 0.01."""
    o2_hpa = 0.20946 * pressure_hpa(row["alt_m"])
    assert o2_hpa == pytest.approx(row["po2_hpa"], abs=0.02)
    assert sea_level_equivalent_pct(o2_hpa) == pytest.approx(
        row["sea_level_equiv_pct"], abs=0.01
    )


@pytest.mark.parametrize("altitude_m", [-400.0, 0.0, 640.0, 2500.0, 5500.0])
def test_the_height_that_an_oxygen_pressure_is_like(altitude_m):
    """Outdoor air is like its own height; 19.5 % at 2 500 m like 3 100."""
    fresh = O2_DRY_PCT / 100 * pressure_hpa(altitude_m)
    assert altitude_like_m(fresh) == pytest.approx(altitude_m, abs=0.01)
    assert altitude_like_m(0.195 * pressure_hpa(2500.0)) == pytest.approx(3070, abs=10)


def test_dry_air_stands_between_the_published_figures():
    """Machta and Hughes 20.946 (memory), US Standard Atmosphere 20.9476: 0.005."""
    assert pytest.approx(value("o2_dry_air_machta"), abs=0.005) == O2_DRY_PCT


def test_outdoor_air_sums_to_one_and_is_wet():
    """Dry fractions of what the vapour leaves."""
    air = OutsideAir(20.0, 60.0).mixture(1013.25)
    assert air.n2 + air.o2 + air.co2 + air.co + air.h2o + air.fuel == (
        pytest.approx(1.0, abs=1e-15)
    )
    assert 100 * air.h2o == pytest.approx(1403.28 / 1013.25, rel=1e-3)  # dewpoint_rows
    assert air.o2 / (1 - air.h2o) == pytest.approx(0.2095)
    assert air.co2 / (1 - air.h2o) == pytest.approx(1e-6 * FRESH_CO2_PPM)


def test_molar_density():
    """22.414 L/mol at 0 °C and 1 atm (CODATA)."""
    assert OutsideAir(0.0).mol_m3(1013.25) == pytest.approx(1000 / 22.414, rel=1e-5)
