"""The night's course: burner times, warmth, wet, and where the flame dies."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan
from cabinvigil.daemon.planning.night import (
    all_night,
    burn_hours,
    burner_water_kg,
    evening_and_morning,
    is_lit,
    night,
    people_water_kg,
    span_h,
)
from cabinvigil.daemon.planning.scenario import scenarios
from cabinvigil.daemon.planning.settle import SHUT, settled

LAPWING = CabinPlan()
WAY = scenarios(LAPWING)[0]


def test_burner_hours_count_overlaps_once():
    """Two hours and an hour that lies half inside are two and a half."""
    assert burn_hours((BurnWindow(8, 10), BurnWindow(9.5, 10.5))) == 2.5
    assert burn_hours((BurnWindow(18, 19), BurnWindow(8, 10))) == 3.0
    assert burn_hours(all_night(LAPWING)) == 9.0
    assert burn_hours(()) == 0.0


def test_times_of_the_night():
    """Evening and morning as the trade advises; the course spans both."""
    burns = evening_and_morning(LAPWING)
    assert [is_lit(burns, hour) for hour in (7.9, 8.0, 9.9, 10.0, 18.0, 19.0)] == [
        False, True, True, False, True, False,
    ]  # fmt: skip
    assert span_h(LAPWING, burns) == (8.0, 19.0)
    assert span_h(LAPWING, all_night(LAPWING)) == (10.0, 19.0)


def test_a_long_night_ends_where_it_settles():
    """After twelve hours of burning the course has reached the settled air."""
    plan = replace(LAPWING, hours=14.0)
    last = night(scenarios(plan)[0], all_night(plan)).moments[-1]
    goal = settled(WAY).state
    assert last.temp_c == pytest.approx(goal.temp_c, abs=0.1)
    assert last.o2_pct == pytest.approx(100 * goal.o2, abs=0.01)
    assert last.co2_ppm == pytest.approx(1e6 * goal.co2, rel=2e-3)


def test_gas_and_water_by_the_books():
    """9 h at 1.6 kW are 14.4 kWh and, at 116.9 g a kWh (check_values), 1.68 litres."""
    course = night(WAY, all_night(LAPWING))
    assert course.burnt_kwh == pytest.approx(14.4)
    assert burner_water_kg(LAPWING, all_night(LAPWING)) == pytest.approx(
        14.4 * 0.1169, rel=5e-3
    )
    assert people_water_kg(WAY) == pytest.approx(9 * 0.06, rel=1e-3)


def test_off_while_asleep_is_safer_colder_and_cheaper():
    """The night that the trade advises, beside the flame on all night."""
    lit = night(WAY, all_night(LAPWING))
    off = night(WAY, evening_and_morning(LAPWING))
    assert off.at(14.0).o2_pct > lit.at(14.0).o2_pct + 0.5
    assert off.at(14.0).co2_ppm < lit.at(14.0).co2_ppm / 2
    assert off.at(14.0).temp_c < lit.at(14.0).temp_c - 10
    assert off.burnt_kwh == pytest.approx(3 / 9 * lit.burnt_kwh)


def test_shut_vents_put_the_flame_out():
    """All vents shut, all night: the flame dies, and gas use stops with it."""
    course = night(WAY, all_night(LAPWING), SHUT)
    assert course.flame_out_h is not None
    assert 11.5 < course.flame_out_h < 14
    assert course.burnt_kwh < 6
    assert not course.moments[-1].burning
    assert course.least_o2_pct < 14.5
    assert course.most_co2_ppm > 30_000


def test_a_pane_mists_before_it_runs():
    """Mist comes with lighting in a cold cabin; running needs 50 g/m2."""
    plan = replace(LAPWING, glass_u=5.8, vent_low_cm2=60, vent_high_cm2=60)
    course = night(scenarios(plan)[0], all_night(plan))
    assert 0 < course.mist_from_min < course.runs_from_min
    assert course.moments[-1].settled_kg > 0.05
    warm = replace(LAPWING, outside_c=15.0, outside_rh_pct=20.0, burner_kw=0.1)
    dry = night(scenarios(warm)[0], all_night(warm))
    assert dry.mist_from_min is None
    assert dry.runs_from_min is None
    assert dry.moments[-1].settled_kg == 0.0
