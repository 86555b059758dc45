"""The corners of what nobody knows, and what acts on the cabin in each."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.air.figures import LEAK_PER_H
from cabinvigil.daemon.air.vents import DISCHARGE, Vents
from cabinvigil.daemon.planning.figures import CabinPlan
from cabinvigil.daemon.planning.scenario import goes_out, inputs_at, scenarios
from cabinvigil.daemon.planning.settle import settled
from tests.air.measured import by_source

LAPWING = CabinPlan()


def test_the_middle_comes_first_and_the_corners_lie_around_it():
    """Two that pass little air, two that pass much; strong and weak of each."""
    unknown = replace(LAPWING, leak_per_h=None)
    middle, tight_strong, tight_weak, airy_strong, airy_weak = scenarios(unknown)
    assert (middle.leak_per_h, middle.discharge) == (LEAK_PER_H[1], DISCHARGE)
    assert (middle.power, middle.breath, middle.walls) == (1.0, 1.0, 1.0)
    for tight in (tight_strong, tight_weak):
        assert tight.leak_per_h == LEAK_PER_H[0] < middle.leak_per_h
        assert tight.discharge < middle.discharge
    for airy in (airy_strong, airy_weak):
        assert airy.leak_per_h == LEAK_PER_H[2] > middle.leak_per_h
        assert airy.discharge > middle.discharge
    for strong, weak in ((tight_strong, tight_weak), (airy_strong, airy_weak)):
        assert strong.power > 1 > weak.power
        assert strong.breath > 1 > weak.breath
        assert strong.walls < 1 < weak.walls


def test_a_given_leak_keeps_a_spread_and_none_stays_none():
    """0.5 told is 0.3 to 0.8 meant; 0 told is a sealed cabin."""
    leaks = {way.leak_per_h for way in scenarios(replace(LAPWING, leak_per_h=0.5))}
    assert sorted(leaks) == pytest.approx([0.3, 0.5, 0.8])
    sealed = {way.leak_per_h for way in scenarios(replace(LAPWING, leak_per_h=0.0))}
    assert sealed == {0.0}


def test_what_acts_follows_burner_vents_wind_and_people():
    """Each switch changes its own figure alone."""
    way = scenarios(LAPWING)[1]
    calm = inputs_at(way, way.zone, 15.0, way.vents, burning=True, people=way.sleepers)
    assert calm.burner_kw_hhv == pytest.approx(1.6 * way.power)
    off = inputs_at(way, way.zone, 15.0, way.vents, burning=False, people=way.sleepers)
    assert off.burner_kw_hhv == 0.0
    assert off.air_m3_s == calm.air_m3_s
    shut = inputs_at(
        way, way.zone, 15.0, Vents(0, 0), burning=True, people=way.sleepers
    )
    assert shut.air_m3_s == pytest.approx(way.leak_m3_s(way.zone, 15.0))
    mild = scenarios(LAPWING)[0]
    windy = inputs_at(
        mild,
        mild.zone,
        15.0,
        mild.vents,
        burning=True,
        people=mild.sleepers,
        wind_mps=5,
    )
    still = inputs_at(
        mild, mild.zone, 15.0, mild.vents, burning=True, people=mild.sleepers
    )
    assert windy.air_m3_s > still.air_m3_s
    assert way.sitters.co2_mol_s > way.sleepers.co2_mol_s


def test_walls_and_panes_pass_what_was_told():
    """The zone's loss is the sum over its surfaces."""
    way = scenarios(replace(LAPWING, wall_w_k=50.0))[0]
    assert way.zone.wall_w_k == 50.0
    assert sum(face.area_m2 * face.u_w_m2k for face in way.zone.surfaces) == (
        pytest.approx(50.0)
    )


def test_where_the_flame_dies():
    """14 % in the middle; in the corners 9, a sample near the ceiling where a flame
    burned on, and 15.6, the highest last read with a flame still lit (cases S23)."""
    levels = {way.flame_out_pct for way in scenarios(LAPWING)}
    assert levels == {9.0, 14.0, 15.6}
    rows = by_source("S23")
    last_read = [case["o2_meas_pct"] for case in rows if case["mode"] == "closed"]
    assert (min(last_read), max(last_read)) == (14.8, max(levels))
    near_ceiling = min(case["o2_meas_pct"] for case in rows)
    assert min(levels) == pytest.approx(near_ceiling, abs=0.5)
    way = scenarios(LAPWING)[0]
    assert not goes_out(way, settled(way).state)
