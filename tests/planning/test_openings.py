"""Vent sizes: by the balance, by the thumb, and as the standards ask."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.planning import openings
from cabinvigil.daemon.planning.figures import CabinPlan
from cabinvigil.daemon.planning.scenario import scenarios
from cabinvigil.daemon.planning.settle import settled
from tests.air.published import rows, value


def test_the_thumb():
    """One square inch for 1 000 Btu/h (common practice) is 22 cm2 a kilowatt.

    check_values `vent_nfpa54`: 2 201 mm2 a kilowatt.
    """
    per_kw = openings.thumb_cm2(CabinPlan(burner_kw=1.0))
    published = rows("vent_nfpa54")[0]["mm2_per_kw"]
    assert 100 * per_kw == pytest.approx(published, rel=1e-3)


def test_standards_for_vehicles_and_boats():
    """check_values: PD 5482-3 rows, EN 721 rows, AS/NZS 5601's least area."""
    for row in rows("vent_pd5482"):
        plan = CabinPlan(burner_kw=row["u_kw"], people=row["p"])
        assert openings.standards_cm2(plan)["pd5482"] == pytest.approx(
            row["area_mm2"] / 100
        )
    en721 = {row["floor_m2"]: row for row in rows("vent_en721")[:2]}
    small = openings.standards_cm2(CabinPlan(volume_m3=8.0))["en721"]
    row = en721["up to 5"]
    assert small == row["roof_cm2"] + row["low_cm2"]
    row = en721["5 to 10"]
    assert openings.standards_cm2(CabinPlan())["en721"] == (
        row["roof_cm2"] + row["low_cm2"]
    )
    assert openings.standards_cm2(CabinPlan(volume_m3=30.0))["en721"] is None
    none = rows("vent_en721")[2]
    assert openings.standards_cm2(CabinPlan(burner_kw=0.0))["en721"] == (
        none["roof_cm2"] + none["low_cm2"]
    )
    least = openings.standards_cm2(CabinPlan(burner_kw=0.5, people=1))["as5601"]
    assert 100 * least == value("vent_as5601")


def test_v11_boats_count_berths_and_no_fewer_than_sleep_there():
    """P is the number that the compartment is made for (PD 5482-3), or of sleeping
    spaces (AS/NZS 5601.2): 650 mm2 each, whoever sleeps there tonight."""
    alone = CabinPlan(people=1, berths=4)
    assert openings.standards_cm2(alone) == openings.standards_cm2(CabinPlan(people=4))
    more = CabinPlan(people=4, berths=2)
    assert openings.standards_cm2(more) == openings.standards_cm2(CabinPlan(people=4))


def test_the_needed_area_just_holds_the_limits():
    """A tenth less area breaks a limit, the area itself keeps both, in every way."""
    for way in scenarios(CabinPlan()):
        area = openings.area_cm2(way, openings.needed_m3_h(way))
        held = settled(openings.at_area(way, area * 1.01)).state
        missed = settled(openings.at_area(way, area * 0.9)).state
        assert readings.co2_ppm(held) <= openings.CO2_LIMIT_PPM * 1.01
        assert readings.o2_pct(held) >= openings.O2_LIMIT_PCT - 0.01
        assert (
            readings.co2_ppm(missed) > openings.CO2_LIMIT_PPM
            or readings.o2_pct(missed) < openings.O2_LIMIT_PCT
        )


def test_in_still_air_the_thumb_is_far_too_small():
    """Design, section 5: two sleepers, 1.6 kW and 2 x 60 cm2 are left with 18.7 %.

    One square inch for 1 000 Btu/h leaves less.
    """
    plan = CabinPlan(leak_per_h=0.0, vent_height_m=1.5)
    way = scenarios(plan)[0]
    sixty = settled(openings.at_area(way, 120.0)).state
    assert readings.o2_pct(sixty) == pytest.approx(18.7, abs=0.3)
    thumb = settled(openings.at_area(way, openings.thumb_cm2(plan))).state
    assert readings.o2_pct(thumb) < readings.o2_pct(sixty) - 1.0


def test_more_of_everything_needs_more_vent():
    """Monotone in power, people and limits."""
    base = scenarios(CabinPlan())[0]
    stronger = scenarios(replace(CabinPlan(), burner_kw=3.0))[0]
    fuller = scenarios(replace(CabinPlan(), people=6))[0]
    need = openings.needed_m3_h
    assert need(stronger) > need(base)
    assert need(fuller) > need(base)


def test_no_area_where_nothing_drives_the_air():
    """As warm outside as in, with nobody and nothing: no area can be told."""
    plan = replace(CabinPlan(), burner_kw=0.0, people=0, outside_c=20.0)
    way = scenarios(plan)[0]
    assert openings.area_cm2(way, None) is None
    assert openings.area_cm2(way, 30.0) is None
    assert openings.area_cm2(way, openings.needed_m3_h(way)) == 0.0


def test_heat_that_air_takes():
    """One m3/h by one kelvin is 0.335 W (1.2 kg/m3, 1 005 J/(kg K))."""
    plan = CabinPlan(outside_c=0.0)
    assert openings.air_heat_w(plan, 1.0, 1.0) == pytest.approx(0.335, rel=1e-3)
