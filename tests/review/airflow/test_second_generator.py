"""The second generator of nights obeys the laws that it claims, and its score counts.

Worked figures are computed here by other means than the generator's, or come from a
textbook that is named beside them.
"""

import math
import random
import statistics
from dataclasses import replace

import pytest

from tests.bench.second_nights.cabin import (
    CO,
    CO2,
    H2O,
    O2,
    Cabin,
    Outdoors,
    Sources,
    outdoor_shares,
    saturation_pa,
)
from tests.bench.second_nights.chemistry import (
    GASES,
    H2O_KG,
    Cylinder,
    burn,
    hhv_kj_mol,
    kg_mol,
)
from tests.bench.second_nights.live import Night
from tests.bench.second_nights.morning_form import log_of, stated, truth_between
from tests.bench.second_nights.night import KINDS, make, prepare
from tests.bench.second_nights.openings import (
    Envelope,
    Flow,
    Opening,
    exchange_m3_s,
    pressure_coefficient,
)
from tests.bench.second_nights.projection_form import Observer, make_second_night
from tests.bench.second_nights.scene import Shell, at
from tests.bench.second_nights.sensors import Channel
from tests.bench.second_score import Judged, Verdict, judge

BARE = Shell(
    volume_m3=10.0,
    height_m=2.0,
    wall_m2=30.0,
    wall_w_k=30.0,
    wall_kj_k=200.0,
    room_kj_k=20.0,
    glass_m2=0.0,
    glass_u=2.8,
    skin_m2=0.0,
    skin_u=6.0,
    sorbs_kg=0.0,
    sorb_m_s=0.0,
    deep_kg=0.0,
    deep_s=1.0,
    co2_share=0.0,
    co2_s=3600.0,
)
"""Walls that take nothing up."""


def test_propane_burns_as_the_equation_says() -> None:
    """C3H8 + 5 O2 = 3 CO2 + 4 H2O; 50.35 and 46.35 MJ/kg (ISO 6976, from memory)."""
    flame = burn({"propane": 1.0}, 1.0, 0.0)
    made = (flame.o2, flame.co2, flame.co, flame.h2o)
    assert made == pytest.approx((5.0, 3.0, 0.0, 4.0))
    propane = GASES["propane"]
    assert propane.hhv_kj / propane.kg_mol / 1000.0 == pytest.approx(50.35, rel=0.002)
    assert propane.lhv_kj / propane.kg_mol / 1000.0 == pytest.approx(46.35, rel=0.002)
    butane = GASES["butane"]
    assert butane.hhv_kj / butane.kg_mol / 1000.0 == pytest.approx(49.5, rel=0.002)


@pytest.mark.parametrize(
    ("name", "boils_c"), [("propane", -42.1), ("butane", -0.5), ("isobutane", -11.7)]
)
def test_gases_boil_where_handbooks_say(name: str, boils_c: float) -> None:
    """At one atmosphere (CRC handbook, from memory)."""
    assert GASES[name].vapour_hpa(boils_c) == pytest.approx(1013.25, rel=0.02)


@pytest.mark.parametrize("co_share", [0.0, 0.01, 0.2])
def test_a_flame_keeps_its_atoms(co_share: float) -> None:
    """C, H and O in are C, H and O out, however it burns."""
    flame = burn({"propane": 0.6, "butane": 0.4}, 2.0, co_share)
    assert flame.co2 + flame.co == pytest.approx(2.0 * 3.4)
    assert 2.0 * flame.h2o == pytest.approx(2.0 * (0.6 * 8 + 0.4 * 10))
    oxygen = 2.0 * flame.co2 + flame.co + flame.h2o
    assert oxygen == pytest.approx(2.0 * flame.o2)


def test_butane_starves_in_the_cold_and_propane_does_not() -> None:
    for name, comes in (("butane", 0.0), ("propane", 1.0)):
        cylinder = Cylinder({name: 2.0}, -10.0, 2.5)
        _, pressure = cylinder.vapour()
        assert cylinder.open_share(pressure - 1013.0) == comes


def test_a_cylinder_cools_by_what_boils_off() -> None:
    """0.2 kg in an hour take 76 kJ; less what reaches it from around."""
    cylinder = Cylinder({"propane": 5.0}, 10.0, 0.0)
    shares, _ = cylinder.vapour()
    for _ in range(360):
        cylinder.draw(shares, 0.2 / kg_mol(shares) / 3600.0, 10.0, 10.0)
    assert math.fsum(cylinder.kg.values()) == pytest.approx(4.8)
    fallen_k = 0.2 * 380.0 / (4.9 * 2.4 + 2.0)
    assert cylinder.temp_c == pytest.approx(10.0 - fallen_k, abs=0.1)


def test_stack_flow_agrees_with_the_closed_formula() -> None:
    """Two equal openings: Q = Cd A sqrt(g H dT / T), A each (ASHRAE Fundamentals,
    "Ventilation and Infiltration", stack equation with the level midway; from memory).
    """
    low = Opening("low", 0.01, 0.2, 0.05)
    high = Opening("high", 0.01, 1.8, 0.05)
    came = Envelope([low, high], [], 1.0).flow(101325.0, 20.0, 0.0, 0.0, 0.0)
    m3_s = came.in_mol_s * 8.314462 * 283.15 / 101325.0
    assert m3_s == pytest.approx(
        0.61 * 0.01 * math.sqrt(9.80665 * 1.6 * 20.0 / 283.15), rel=0.03
    )
    assert came.in_low_share == 1.0
    assert came.out_low_share == 0.0


def test_cross_wind_agrees_with_openings_in_series() -> None:
    """Q = Cd A U sqrt(dCp / 2) for two equal openings (CIBSE Guide A, from memory)."""
    front = Opening("front", 0.01, 1.0, 0.05, 0.0)
    back = Opening("back", 0.01, 1.0, 0.05, math.pi)
    came = Envelope([front, back], [], 1.0).flow(101325.0, 10.0, 10.0, 5.0, 0.0)
    m3_s = came.in_mol_s * 8.314462 * 283.15 / 101325.0
    drop = pressure_coefficient(0.0) - pressure_coefficient(math.pi)
    assert drop == pytest.approx(0.9)
    assert m3_s == pytest.approx(0.61 * 0.01 * 5.0 * math.sqrt(drop / 2.0), rel=0.01)


def test_one_opening_trades_by_its_height() -> None:
    """Cd A / 3 sqrt(g H dT / T): a door of 0.8 x 2 m at 10 K lets 0.27 m3/s pass
    (Brown and Solvason, from memory; the figure is worked by hand)."""
    door = Opening("door", 1.6, 1.0, 2.0)
    assert exchange_m3_s(door, 15.0, 5.0, 0.0) == pytest.approx(0.272, abs=0.005)


@pytest.mark.parametrize("per_h", [0.5, 5.0])
def test_a_tracer_decays_by_its_air_changes(per_h: float) -> None:
    """Excess CO2 falls as exp(-n t)."""
    shares = outdoor_shares(101325.0, 20.0, 50.0, 400.0)
    out = Outdoors(101325.0, 20.0, shares)
    cabin = Cabin(BARE, out, 20.0, 50.0, 5400.0)
    cabin.wall_c = 20.0
    none = Sources([[0.0] * 5], 0.0, 0.0)
    flow = Flow(cabin.moles * per_h / 3600.0)
    for _ in range(1800):
        cabin.step(none, out, flow, 2.0)
    excess = 1e6 * (cabin.shares_at(0.0)[CO2] - shares[CO2])
    begun = 1e6 * (outdoor_shares(101325.0, 20.0, 50.0, 5400.0)[CO2] - shares[CO2])
    assert excess == pytest.approx(begun * math.exp(-per_h), rel=0.01)


@pytest.mark.parametrize("enters_low", [1.0, 0.0])
def test_two_layers_are_stirred_tanks_in_series(enters_low: float) -> None:
    """In at one end, out at the other, unmixed: exp(-2nt), then (1 + 2nt) exp(-2nt)
    (chemical engineering's tanks in series)."""
    shares = outdoor_shares(101325.0, 20.0, 50.0, 400.0)
    out = Outdoors(101325.0, 20.0, shares)
    shell = replace(BARE, layers=2, mixing_m3_s=0.0)
    cabin = Cabin(shell, out, 20.0, 50.0, 5400.0)
    cabin.wall_c = 20.0
    begun = cabin.shares_at(0.0)[CO2] - shares[CO2]
    none = Sources([[0.0] * 5, [0.0] * 5], 0.0, 0.0)
    flow = Flow(cabin.moles / 3600.0, enters_low, 1.0 - enters_low)
    for _ in range(900):
        cabin.step(none, out, flow, 2.0)
    first = cabin.shares_at(1.0 - enters_low)[CO2] - shares[CO2]
    last = cabin.shares_at(enters_low)[CO2] - shares[CO2]
    assert first / begun == pytest.approx(math.exp(-1.0), rel=0.01)
    assert last / begun == pytest.approx(2.0 * math.exp(-1.0), rel=0.01)


def test_saturation_agrees_with_tables() -> None:
    """6.11, 12.28 and 23.39 hPa at 0, 10 and 20 C; 2.60 over ice at -10 C."""
    for temp_c, hpa in ((0.0, 6.11), (10.0, 12.28), (20.0, 23.39), (-10.0, 2.60)):
        assert saturation_pa(temp_c) == pytest.approx(100.0 * hpa, rel=0.005)


@pytest.mark.parametrize(
    "kind", ["plain", "stratified", "sorbing-walls", "door-often", "pressure-weather"]
)
def test_balances_close_over_a_night(kind: str) -> None:
    """Carbon, oxygen and water: what came, was made and went is what is there."""
    draw = prepare(17, kind, 3.0, wide=True)
    life = Night(draw.scene, 17, draw.places)
    before = [math.fsum(one) for one in zip(*life.cabin.layers, strict=True)]
    moments = list(life.moments())
    after = [math.fsum(one) for one in zip(*life.cabin.layers, strict=True)]
    ledger = life.cabin.ledger
    for gas in (O2, CO2, H2O, CO):
        moved = ledger.came[gas] + ledger.made[gas]
        moved -= ledger.went[gas] + ledger.walls[gas]
        size = abs(ledger.made[gas]) + ledger.came[gas]
        assert after[gas] - before[gas] == pytest.approx(moved, abs=1e-3 * size)
    pressure = math.fsum(after) * 8.314462 * (life.cabin.air_c + 273.15)
    assert pressure / draw.scene.shell.volume_m3 == pytest.approx(life.out.pa, rel=1e-3)
    assert ledger.made[H2O] * H2O_KG == pytest.approx(moments[-1].water_made_kg, 1e-3)
    assert ledger.walls[H2O] * H2O_KG == pytest.approx(
        moments[-1].water_left_kg, abs=1e-6
    )


def test_gas_burnt_makes_the_co2_that_was_made() -> None:
    """Of an empty cabin: carbon of the fuel is all that is made, and kW its heat."""
    draw = prepare(30, "plain", 2.0, wide=False)
    draw.scene.people.clear()
    life = Night(draw.scene, 30, draw.places)
    moments = list(life.moments())
    made = life.cabin.ledger.made
    gas_mol = moments[-1].gas_kg / GASES["propane"].kg_mol
    assert gas_mol > 0.5
    assert made[CO2] + made[CO] == pytest.approx(3.0 * gas_mol, rel=1e-3)
    assert made[H2O] == pytest.approx(4.0 * gas_mol, rel=1e-3)
    kj = 10.0 * math.fsum(one.burn_kw for one in moments)
    assert kj == pytest.approx(gas_mol * hhv_kj_mol({"propane": 1.0}), rel=1e-3)


def test_the_same_seed_gives_the_same_night_and_kinds_go_round() -> None:
    first, again = make(5, hours=0.5), make(5, hours=0.5)
    assert first.readings == again.readings
    assert first.moments == again.moments
    assert make(6, hours=0.5).readings != first.readings
    assert {
        prepare(seed, None, 1.0, True).scene.kind for seed in range(len(KINDS))
    } == (set(KINDS))
    assert len(KINDS) >= 20


def test_stretches_add_up_to_the_night() -> None:
    night = make(3, hours=1.0)
    whole = truth_between(night.moments)
    parts = [truth_between(night.moments, at, at + 900.0) for at in range(0, 3600, 900)]
    for name in ("gas_kg", "water_made_kg", "water_left_kg"):
        total = math.fsum(one[name] for one in parts)
        assert total == pytest.approx(whole[name], abs=1e-9)


def test_the_observer_is_right_where_nothing_changes() -> None:
    """His frozen law, against the cabin lived on with all held still."""
    draw = prepare(0, "plain", 1.0, wide=True)
    draw.scene.weather.gust_share = 0.0
    life, law = Night(draw.scene, 0, draw.places), None
    for moment in life.moments():
        law, came = Observer(life).sees(moment)
    assert law is not None
    flow, warm = Flow(came), life.sources
    for _ in range(300):
        before = life.cabin.air_c, life.cabin.wall_c
        life.cabin.step(warm, life.out, flow, 2.0)
        life.cabin.air_c, life.cabin.wall_c = before
    felt = 100.0 * life.cabin.shares_at(life.places.bunk)[O2]
    assert law.o2_pct(600.0) == pytest.approx(felt, abs=0.02)
    assert abs(law.o2_pct(600.0) - law.o2_pct(0.0)) > 0.02


def test_a_projection_night_is_whole_and_crosses_now_and_then() -> None:
    nights = [make_second_night(seed) for seed in (500_000, 500_002, 500_004)]
    for night in nights:
        assert len(night.time_s) == len(night.o2_seen) == len(night.known_s) == 1800
        assert night.changes
    assert any(night.crossing_s() is not None for night in nights)


def test_a_part_lags_and_ends_at_its_scale() -> None:
    """63 % of a step after its lag; no more than its scale's end."""
    rng, part = random.Random(1), Channel(lag_s=60.0, step=0.001, scale_end=90.0)
    assert part.read(rng, 0.0, 0.0) == 0.0
    seen = [part.read(rng, 10.0 * i, 100.0) for i in range(1, 61)]
    assert seen[5] == pytest.approx(100.0 * (1.0 - math.exp(-1.0)), abs=0.1)
    assert seen[-1] == 90.0


def test_noise_grows_with_the_reading_where_it_should() -> None:
    rng, part = random.Random(2), Channel(noise=10.0, noise_share=0.004, step=1.0)
    part.lagged = 5000.0
    seen = [part.read(rng, 0.0, 5000.0) for _ in range(2000)]
    assert statistics.stdev(seen) == pytest.approx(30.0, rel=0.07)


def test_each_kind_does_what_its_name_says() -> None:
    """Those whose name can be read off the truth."""
    nights = {
        name: make(7, name, hours=4.0)
        for name in ("icing-vent", "vents-shut-late", "people-leave", "one-opening")
    }
    icing = nights["icing-vent"].moments
    assert icing[-1].high_cm2 < 0.7 * icing[0].high_cm2
    late = nights["vents-shut-late"].moments
    assert late[-1].low_cm2 < 0.5 * late[0].low_cm2
    leave = nights["people-leave"].moments
    assert leave[-1].people < leave[0].people
    one = nights["one-opening"].moments[0]
    assert one.low_cm2 == one.high_cm2 == 0.0 < one.window_cm2
    high = prepare(7, "altitude", 4.0, wide=False).scene
    assert high.weather.pressure_hpa[0][1] < 860.0
    wrong = prepare(7, "label-wrong", 4.0, wide=False).scene.heater
    assert abs(wrong.label_kw / wrong.high_kw - 1.0) > 0.1
    turn = prepare(7, "wind-turns", 4.0, wide=False).scene.weather.toward
    assert abs(at(turn, 14_400.0) - at(turn, 0.0)) >= 1.0


def test_the_user_states_the_cabin_as_users_do() -> None:
    """Volume within a tenth, for once not as it is; and the fuel adds up to one."""
    night = make(15, "mix", hours=0.2)
    told = stated(night)
    share = told["volume_m3"] / night.scene.shell.volume_m3
    assert 0.89 <= share <= 1.11
    assert math.fsum(told["fuel"].values()) == pytest.approx(1.0, abs=0.001)
    assert set(told["fuel"]) == {"propane", "butane"}
    alone = make(15, "one-opening", hours=0.2)
    share = stated(alone)["vent_high_cm2"] / alone.moments[0].window_cm2
    assert 0.84 <= share <= 1.16


def test_the_end_of_range_is_told_or_missing() -> None:
    """As a part does that marks its full scale, or one that then gives no value."""
    found = set()
    for seed in range(50, 80):
        night = make(seed, "co2-end-of-range", hours=1.0)
        end = night.parts.co2.scale_end
        if max(one.co2_ppm for one in night.moments) > 1.3 * end:
            assert max(one.get("co2_ppm", 0.0) for one in night.readings) <= end
            is_marked = b"at_least" in log_of(night)
            assert is_marked is night.parts.tells_end
            found.add(is_marked)
        if len(found) == 2:
            break
    assert found == {True, False}


def test_a_night_is_judged_whole_and_by_stretches() -> None:
    judged = judge(0)
    assert judged.kind == "plain"
    assert len(judged.whole) == 5
    assert judged.stretches
    worst = judged.worst("air_changes_per_h")
    assert worst is not None
    assert worst.off == max(one["air_changes_per_h"].off for one in judged.stretches)


def test_the_worst_stretch_is_a_miss_before_a_wide_hit() -> None:
    hit, miss = Verdict(True, 0.9, 1.9), Verdict(False, 0.1, 1.2)
    night = Judged("plain", stretches=[{"gas_kg": hit}, {"gas_kg": miss}])
    assert night.worst("gas_kg") is miss
    assert night.worst("burn_kw") is None
    assert Verdict(False, 0.1, 0.4).is_twice_wrong
    assert not hit.is_twice_wrong
    assert not Verdict(False, None, None).is_twice_wrong
