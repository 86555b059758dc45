"""The model against every measured room of tests/data/cases/cases.toml (90 rows).

Tolerances come from README.md there; they were argued before this model was run, from
another program's residuals and the sources' own errors.  Rows round the fuel to
0.1 g/s, up to 2.5 % at 2 g/s: each burner band is widened by that row's rounding.
"""

import statistics

import pytest

from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.breathing import Person, flows
from cabinvigil.daemon.air.combustion import METHANE, PROPANE, burn
from cabinvigil.daemon.air.zone import (
    Inputs,
    Zone,
    ZoneState,
    outdoor_state,
    solve,
)
from tests.air import measured
from tests.air.measured import ACETONE, DODECANE, HEPTANE, by_source
from tests.air.published import cases

TESTED_SOURCES = {
    "S1",
    "S2",
    "S4",
    "S5",
    "S9",
    "S15",
    "S20",
    "S21",
    "S23",
    "S24",
    "S26",
}

LLNL = by_source("S23")
FORCED = [case for case in LLNL if case["mode"] == "forced"]
CLOSED = [case for case in LLNL if case["mode"] == "closed"]
PLENUM = [case for case in LLNL if case["mode"] == "closed-plenum"]
PRISME = by_source("S26")


def name(case):
    return case["id"]


def errors(case):
    """Ours over the measured drop of O2 and rise of CO2, less one, in percent."""
    o2, co2 = measured.llnl(case)
    drop = case["o2_start_pct"] - case["o2_meas_pct"]
    rise = case["co2_meas_pct"] - 0.04
    return (
        100 * ((case["o2_start_pct"] - o2) / drop - 1),
        100 * ((co2 - 0.04) / rise - 1),
    )


def rounding(case):
    return 100 * 0.05 / case["fuel_g_s"]


def test_every_row_is_taken():
    """90 rows, and each source has its test below."""
    assert len(cases()) == 90
    assert {case["source"] for case in cases()} == TESTED_SOURCES
    assert len(FORCED) + len(CLOSED) + len(PLENUM) == len(LLNL)


@pytest.mark.parametrize("case", FORCED, ids=name)
def test_burner_in_a_fan_ventilated_cell(case):
    """LLNL, 32 tests: -4 to +17 % of the oxygen drop, -4 to +20 % of the CO2 rise."""
    o2, co2 = errors(case)
    assert -4 - rounding(case) <= o2 <= 17 + rounding(case)
    assert -4 - rounding(case) <= co2 <= 20 + rounding(case)


def test_bias_in_the_fan_ventilated_cell_is_to_the_safe_side():
    """One well-mixed zone reads the danger a few percent too high, not too low."""
    pairs = [errors(case) for case in FORCED]
    assert 0 < statistics.mean(o2 for o2, _ in pairs) < 8
    assert 0 < statistics.mean(co2 for _, co2 in pairs) < 10
    assert sum(o2 > 0 for o2, _ in pairs) >= 2 * len(pairs) / 3


@pytest.mark.parametrize("case", CLOSED, ids=name)
def test_sealed_rooms_leak(case):
    """LLNL 1 to 8, no exhaust: 0 to +31 % of the drop, since sealed is never sealed."""
    o2, co2 = errors(case)
    assert 0 <= o2 <= 31 + rounding(case)
    assert 0 <= co2 <= 38 + rounding(case)  # cases: their CO2 ratio runs to 1.38


@pytest.mark.parametrize("case", PLENUM, ids=name)
def test_one_zone_does_not_apply_under_a_false_ceiling(case):
    """LLNL 43, 45, 47, 48: a raised burner, no fan: 1.7 to 2.8 times too much drop.

    These miss, and must: the sampled layer and the room are two zones.  The plan says
    so (planning/words.py), and the sensors sit at breathing height.
    """
    o2, _ = errors(case)
    assert 60 <= o2 <= 190


@pytest.mark.parametrize("case", PRISME, ids=name)
def test_oxygen_and_carbon_dioxide_agree_in_the_second_laboratory(case):
    """PRISME, 16 rows: the CO2 that belongs to the O2, -2 to +12 % of the measured."""
    ours = measured.co2_of_o2(DODECANE, case["o2_meas_pct"])
    assert 0.98 <= ours / case["co2_meas_pct"] <= 1.12


@pytest.mark.parametrize("case", PRISME[::2], ids=name)
def test_mid_burn_of_the_second_laboratory(case):
    """PRISME mid-burn: the row's fuel and inlet held from the start.

    README's -7 to +10 % belongs to a run over the whole fuel history, which the rows
    do not hold; a pool fire's rate drifts by some 10 % to mid-burn: 15 % of the drop.
    At 170 and 260 s (D3, D6a) the fire has grown from nothing and the inlet runs
    backwards: a constant rate must tell too much, and does.
    """
    o2, _ = measured.prisme_first(case)
    ratio = (20.95 - o2) / (20.95 - case["o2_meas_pct"])
    if case["t_s"] < 300:
        assert 1.3 < ratio < 1.8
    else:
        assert ratio == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize(
    "pair",
    list(zip(PRISME[::2], PRISME[1::2], strict=True)),
    ids=lambda pair: pair[1]["id"],
)
def test_end_of_burn_of_the_second_laboratory(pair):
    """PRISME, from the first row to the second: oxygen gives the fuel, CO2 follows.

    Within -4 to +12 % of the CO2; the fuel it takes lies near the two rows' own, 40 %
    apart at most (D5 burned most in between).
    """
    first, last = pair
    fuel, co2 = measured.prisme_later(first, last)
    assert 0.96 <= co2 / last["co2_meas_pct"] <= 1.12
    highest = max(first["fuel_g_s"], last["fuel_g_s"])
    lowest = min(first["fuel_g_s"], last["fuel_g_s"])
    assert 0.6 * lowest <= fuel <= 1.4 * highest


@pytest.mark.parametrize("case", by_source("S24"), ids=name)
def test_spray_fires_pair_oxygen_and_carbon_dioxide(case):
    """NIST/NRC, heptane, upper sample: oxygen of the CO2, 0 to 15 % short of the drop.

    The laboratory's pairs themselves stand about a point apart (README, by hand); the
    CO2 reads low each time.  CO is no test of ours: its share is a setting.
    """
    drop = 20.95 - case["o2_pct"]
    ours = 20.95 - measured.o2_of_co2(HEPTANE, case["co2_pct"])
    assert 0.85 * drop <= ours <= drop
    assert case["co_per_co2"] == pytest.approx(
        case["co_ppm"] / case["co2_pct"] / 1e4, rel=0.01
    )


@pytest.mark.parametrize("case", by_source("S2"), ids=name)
def test_unvented_heaters_in_a_chamber(case):
    """Traynor: the ranges' ends of O2 and CO2, paired by assumption; 0.1 point."""
    ours = measured.o2_of_co2(METHANE, case["co2_ppm"] / 1e4)
    assert ours == pytest.approx(case["o2_meas_pct"], abs=0.1)


def test_catalytic_heater_in_a_closed_room():
    """CPSC staff 2003: carbon's share at 19.4 % O2 held to 15.1 % gives 90 to 102 ppm.

    Measured 101 to 110: short by up to 15 %, since the share itself grows by a tenth.
    """
    first, last = by_source("S1")
    low, high = measured.tucholski_co_ppm()
    assert 0.85 * last["co_min_ppm"] <= low
    assert 0.85 * last["co_max_ppm"] <= high <= last["co_max_ppm"]
    assert first["co_min_ppm"] == 24.0  # what tucholski_co_ppm fits


def test_washout_of_a_respiration_chamber():
    """Berlin-Buch: 11 m3 drawn at 120 L/min: a time constant of 1.53 h, to 0.2 %."""
    case = by_source("S9")[0]
    zone, outside = Zone(case["volume_m3"], 1e9, 1e9), OutsideAir(20.0, 0.0)
    clean = outdoor_state(zone, outside, 20.0)
    start = ZoneState(clean.n2 - 0.01, clean.o2, clean.co2 + 0.01, 0, 0, 0, 20.0)
    inputs = Inputs(outside, case["flow_l_min"] / 60_000)
    after = solve(zone, start, inputs, 3600 * case["tau_meas_h"])
    assert (after.co2 - clean.co2) / 0.01 == pytest.approx(0.36788, rel=2e-3)


def test_acetone_burnt_in_the_chamber():
    """Berlin-Buch, twenty burns: calculated over measured 1.03 and 1.02, 3 and 2 % sd.

    The ratio of O2 to CO2 is 4/3 by our balance; theirs was 0.99 +/- 0.02 of it.
    """
    case = by_source("S9")[1]
    flame = burn(ACETONE, 1.0)
    theirs = 4 / 3 * case["co2_ratio_calc_over_meas"] / case["o2_ratio_calc_over_meas"]
    assert flame.o2_mol_s / flame.co2_mol_s == pytest.approx(theirs, rel=0.02)
    assert abs(case["o2_ratio_calc_over_meas"] - 1) <= 0.06


def test_propane_burnt_in_a_calorimeter():
    """Rising: CO2 found -1.5 +/- 2.4 % and energy +2.8 +/- 4.6 % off stoichiometry.

    Our CO2 for a kilojoule, moved by both of their errors, is inside one sd of both.
    """
    (case,) = by_source("S15")
    flame = burn(PROPANE, 1.0)
    theirs = 3 / 2219.9  # stoichiometry by the CRC heat of burning
    ours = flame.co2_mol_s
    assert 100 * (ours / theirs - 1) == pytest.approx(0, abs=0.1)
    assert abs(case["co2_error_pct"]) <= case["co2_sd_pct"]
    assert abs(case["energy_error_pct"]) <= case["energy_sd_pct"]


@pytest.mark.parametrize("case", by_source("S20"), ids=name)
def test_people_in_an_office_with_a_guessed_air_change(case):
    """Candanedo, 9 rises: no test of the model, as README says; it is low.

    The air change is that of the evening after (0.45 to 1.16 per h on six nights), the
    sensor stands 1.1 m from a person: -90 to +10 % of the rise.
    """
    ours = measured.office(case, case["co2_start_ppm"], case["hours"], case["persons"])
    rise = case["co2_meas_ppm"] - case["co2_start_ppm"]
    assert -0.90 * rise <= ours - case["co2_meas_ppm"] <= 0.10 * rise


def test_bias_in_the_office_is_low():
    """Mean -30 % of the rise: people near a sensor read high."""
    shares = [
        (
            measured.office(c, c["co2_start_ppm"], c["hours"], c["persons"])
            - c["co2_meas_ppm"]
        )
        / (c["co2_meas_ppm"] - c["co2_start_ppm"])
        for c in by_source("S20")
    ]
    assert -0.4 < statistics.mean(shares) < -0.2


@pytest.mark.parametrize("case", by_source("S21"), ids=name)
def test_people_counted_in_a_room(case):
    """Data set 864: the day's peak lies between one and three people's steady CO2.

    The rows hold no head count by the minute; 35 % of the rise, as README argues.
    """
    base = case["background_ppm"]
    one, three = (measured.office(case, base, 24.0, n) for n in (1, 3))
    peak = case["co2_peak_meas_ppm"]
    assert base + 0.65 * (one - base) <= peak <= base + 1.35 * (three - base)


def test_fifty_men_in_a_refuge():
    """Zhang: 0.34 to 0.37 L/min of O2 made 117 to 128 W: ours per litre within 5 %."""
    (case,) = by_source("S5")
    one = flows(Person(water_g_h=0.0))
    w_per_l_min = one.heat_w / (one.o2_mol_s * 22.414 * 60)
    for end in ("lo", "hi"):
        ours = w_per_l_min * case[f"o2_l_min_{end}"]
        assert ours == pytest.approx(case[f"heat_meas_{end}_w"], rel=0.05)


def test_sleepers_in_a_capsule():
    """Fan: 11.0 +/- 1.4 L/h; seven young women and four men (masses assumed)."""
    (case,) = by_source("S4")
    total = 7 * flows(Person("woman", 24, 55)).co2_mol_s
    total += 4 * flows(Person("man", 24, 70)).co2_mol_s
    ours = total / 11 * 3600 * measured.LITRE_20C_MOL
    assert ours == pytest.approx(case["co2_l_h_person"], abs=case["co2_sd"])
