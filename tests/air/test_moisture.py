"""Vapour against the steam tables, the ASHRAE Handbook and measured dew points."""

import math

import iapws
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.air import moisture
from tests.air.published import rows, value

psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("row", rows("psat_ashrae"), ids=str)
def test_saturation_follows_the_ashrae_table(row):
    """ASHRAE Handbook 2017, ch. 1 Table 3; the Handbook claims 300 ppm."""
    tolerance = 0.0003 if row["t_c"] >= -20 else 0.006  # -60: printed to 3 digits
    ours = 100 * moisture.saturation_hpa(row["t_c"])
    assert ours == pytest.approx(row["p"], rel=tolerance)


@pytest.mark.parametrize("row", rows("psat_computed"), ids=str)
def test_saturation_and_content_follow_steam_tables(row):
    """IAPWS-IF97 and the ASHRAE formula; 0.1 % as check_values asks."""
    t = row["t_c"]
    assert 100 * moisture.saturation_hpa(t) == pytest.approx(
        row["p_ashrae_formula_pa"], rel=1e-3
    )
    if "p_iapws_if97_pa" in row:
        assert 100 * moisture.saturation_hpa(t) == pytest.approx(
            row["p_iapws_if97_pa"], rel=1e-3
        )
        live = iapws.iapws97._PSat_T(t + 273.15) * 1e4
        assert moisture.saturation_hpa(t) == pytest.approx(live, rel=1e-3)
        assert moisture.vapour_gm3(t, 100) == pytest.approx(
            row["abs_humidity_g_m3"], rel=1e-3
        )


@pytest.mark.parametrize("row", rows("ice_pressure_toolbox"), ids=str)
def test_below_freezing_the_ice_line_is_used(row):
    """An engineering table of ice; its -20 row stands 0.5 % above ASHRAE's."""
    tolerance = 0.006 if row["t_c"] == -20 else 0.003
    assert 100 * moisture.saturation_hpa(row["t_c"]) == pytest.approx(
        row["p"], rel=tolerance
    )


@pytest.mark.parametrize("row", rows("dewpoint_rows"), ids=str)
def test_dew_point_rows(row):
    """PsychroLib's dew points, within 0.05 K."""
    dew_c = moisture.dew_point_c(row["t_c"], row["rh"])
    vapour_hpa = moisture.vapour_hpa(row["t_c"], row["rh"])
    assert dew_c == pytest.approx(row["dew_c"], abs=0.05)
    assert 100 * vapour_hpa == pytest.approx(row["pv_pa"], rel=1e-3)
    assert moisture.humidity_ratio(vapour_hpa, 1013.25) == pytest.approx(
        row["w"], rel=1e-3
    )


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.floats(0, 50), st.floats(5, 100))
def test_dew_point_agrees_with_psychrolib(temp_c, rh):
    """PsychroLib 2.5 over the whole room range; its own search stops at 0.001 K."""
    theirs = psychrolib.GetTDewPointFromRelHum(temp_c, rh / 100)
    assert moisture.dew_point_c(temp_c, rh) == pytest.approx(theirs, abs=0.01)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(-60, 60), st.floats(0.1, 100))
def test_dew_point_undoes_saturation(temp_c, rh):
    """A surface at the dew point is just wet, whatever the air."""
    vapour = moisture.vapour_hpa(temp_c, rh)
    assert moisture.saturation_hpa(moisture.dew_point_of_hpa(vapour)) == (
        pytest.approx(vapour, rel=1e-6)
    )


def test_enthalpy_of_the_handbook_example():
    """ASHRAE 2017 ch. 1 Example 1: 40 °C, wet bulb 20 °C, sea level."""
    published = {row["q"]: row for row in rows("psychro_example1")}
    ratio = psychrolib.GetHumRatioFromTWetBulb(40, 20, 101325)
    vapour_hpa = psychrolib.GetVapPresFromHumRatio(ratio, 101325) / 100
    for key, ours in {
        "humidity ratio kg/kg": moisture.humidity_ratio(vapour_hpa, 1013.25),
        "dew point degC": moisture.dew_point_of_hpa(vapour_hpa),
        "relative humidity": moisture.rh_pct(40, vapour_hpa) / 100,
        "enthalpy J/kg": moisture.enthalpy_j_kg(40, ratio),
    }.items():
        row = published[key]
        assert ours == pytest.approx(row["v"], abs=row["tol"]), key


def test_humidity_below_freezing_is_told_over_water():
    """Magnus over water (WMO, from memory: 6.112, 17.62, 243.12), within 0.3 %."""
    magnus = value("magnus_constants", "rows")[0]
    for t in (-40, -20, -9, 0, 15, 40):
        theirs = magnus["a"] * math.exp(magnus["b"] * t / (magnus["c"] + t))
        assert moisture.saturation_over_water_hpa(t) == pytest.approx(theirs, rel=4e-3)


def test_air_outdoors_at_its_ice_saturation_frosts_at_its_own_temperature():
    """At -9 °C, 91.6 % over water is saturation over ice: the frost point is -9 °C."""
    share = moisture.saturation_over_ice_hpa(-9) / moisture.saturation_over_water_hpa(
        -9
    )
    assert share == pytest.approx(0.916, abs=0.002)  # Goff-Gratch tables, from memory
    assert moisture.dew_point_c(-9, 100 * share) == pytest.approx(-9, abs=1e-6)


def test_no_vapour_has_no_dew_point():
    """Zero humidity is refused in one sentence."""
    with pytest.raises(ValueError, match="no dew point"):
        moisture.dew_point_of_hpa(0.0)


def test_single_glass_is_far_colder_than_an_insulated_wall():
    """ISO 6946's 0.13 m2K/W (from memory): at 20 K over, a 5.8 pane loses 15 K."""
    assert moisture.surface_c(15, -5, 5.8) == pytest.approx(15 - 20 * 0.754)
    assert moisture.surface_c(15, -5, 0.5) == pytest.approx(15 - 20 * 0.065)
    assert moisture.surface_c(15, -5, 10.0) == -5.0  # bare steel, and no colder


def test_condensing_and_drying_change_sign_at_the_dew_point():
    """Nothing settles on a face at the dew point; colder gains, warmer dries."""
    vapour = moisture.vapour_hpa(20, 60)
    dew = moisture.dew_point_of_hpa(vapour)
    assert moisture.condensation_kg_s(vapour, 20, dew, 1) == pytest.approx(0, abs=1e-12)
    assert moisture.condensation_kg_s(vapour, 20, dew - 5, 1) > 0
    assert moisture.condensation_kg_s(vapour, 20, dew + 5, 1) < 0


def test_settling_speed_agrees_with_the_building_engineers_rule():
    """7e-9 kg/(m2 s Pa) per W/(m2 K) of convection (EN ISO 13788 kin, from memory)."""
    per_pa = moisture.condensation_kg_s(10.0, 15, -60, 1) / (
        1000 - 100 * moisture.saturation_hpa(-60)
    )
    assert per_pa / moisture.INSIDE_CONVECTION_W_M2K == pytest.approx(7e-9, rel=0.15)
