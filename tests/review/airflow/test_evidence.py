"""What warmth and oxygen say of the burner, and how the flow follows the warmth."""

import math
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.report.night_totals import water_left
from cabinvigil.daemon.report.text import account
from cabinvigil.daemon.review.airflow.drive import driven
from cabinvigil.daemon.review.airflow.guess import AIR, BurnerSetting, Guess, Walks
from cabinvigil.daemon.review.airflow.heat import Heat
from cabinvigil.daemon.review.airflow.heat_balance import HeatBalance, SettingSpan
from cabinvigil.daemon.review.airflow.heat_evidence import HeatEvidence
from cabinvigil.daemon.review.airflow.kalman import Course
from cabinvigil.daemon.review.airflow.nodes import course_of
from cabinvigil.daemon.review.airflow.oxygen import Oxygen, per_co2_dry
from cabinvigil.daemon.review.morning import Morning
from tests.bench.truth_nights import Draw, draw, live, log_of
from tests.review import logs

STEP_H = 2.0 / 60.0
COUNT = 270
LIT = SettingSpan(0, COUNT, 11_000.0, 740.0, 0.8)
OFF = SettingSpan(0, COUNT, 2000.0, 0.0, 0.0)


def settled_course(excess_ppm: float = 2000.0) -> Course:
    """Air that stays as it is: CO2 alone does not tell a flame from a small vent."""
    excess = [excess_ppm] * COUNT
    levels = [425.0 + excess_ppm] * COUNT
    return Course(STEP_H, levels, [5.0] * COUNT, excess, [1.0] * COUNT)


def worths(temp_c: list[float | None]) -> tuple[float, float]:
    balance = HeatBalance(settled_course(), temp_c, [-9.0] * COUNT, 450.0, 11.0, 28.0)
    return balance.worth([LIT]), balance.worth([OFF])


def test_a_lit_burner_cannot_let_the_cabin_grow_cold() -> None:
    """From 24 down to -4 C in still settled CO2, outdoors -9: nothing burns."""
    cooling = [-6.0 + 30.0 * math.exp(-n * STEP_H / 2.5) for n in range(COUNT)]
    lit, off = worths(list(cooling))
    assert off > lit + 20.0


def test_a_cabin_that_stays_warm_is_warmed() -> None:
    """9 C all night at -9: 28 W/K and the air ask for a flame of half a kilowatt."""
    lit, off = worths([9.0] * COUNT)
    assert lit > off + 10.0


@pytest.mark.parametrize(("moles", "is_lit"), [(5.0 / 3.0, True), (1.0 / 0.85, False)])
def test_oxygen_tells_whose_co2_it_is(moles: float, is_lit: bool) -> None:
    """CO2 rises by 4,000 ppm; the oxygen that goes is a propane flame's, or a breath's.

    Stoichiometry: C3H8 + 5 O2 gives 3 CO2; a quotient of 0.85 takes 1.18 for each.
    """
    random = Random(5)
    excess: list[float | None] = [
        4000.0 * (1.0 - math.exp(-n * STEP_H)) for n in range(COUNT)
    ]
    o2: list[float | None] = [
        20.9 - per_co2_dry(moles) * 1e-4 * (one or 0.0) + random.gauss(0.0, 0.01)
        for one in excess
    ]
    course = Course(STEP_H, excess, [5.0] * COUNT, excess, [1.0] * COUNT)
    seen = Oxygen(course, o2, 5.0 / 3.0)
    lit = seen.worth([LIT._replace(flame_share=1.0)])
    off = seen.worth([OFF])
    assert (lit > off + 5.0) is is_lit
    assert (off > lit + 5.0) is not is_lit


def test_oxygen_that_another_gas_takes_chooses_nothing() -> None:
    """Half of the oxygen gone with hardly any CO2: no setting explains it."""
    o2: list[float | None] = [20.9 - 0.03 * n for n in range(COUNT)]
    seen = Oxygen(settled_course(300.0), o2, 5.0 / 3.0)
    assert seen.worth([LIT]) == seen.worth([OFF])


def test_the_flow_follows_the_root_of_the_difference() -> None:
    """Four times the difference is twice the flow, but for what is steady."""
    flow = driven([-5.0] * 3 + [7.0] * 4, [-9.0] * 7, 0.0, 1.6)
    # the share that does not follow is a third: (0.65 f + 0.35) with f = 0.49
    root = math.sqrt(4.0 / 16.0 * 268.15 / 280.15)
    assert flow[6] == pytest.approx(1.0)
    assert flow[0] == pytest.approx(0.35 + 0.65 * root)
    assert driven([None, 5.0], [0.0, 0.0], 0.0, 1.6) == [1.0, 1.0]
    windy = driven([-5.0] * 3 + [7.0] * 4, [-9.0] * 7, 8.0, 1.6)
    assert windy[0] > 0.9  # a gale does not ask how warm it is


def test_a_level_is_told_by_both_sides_alone() -> None:
    """At a hole's end one side would be the level of another moment."""
    fine = [500.0 + 10.0 * n for n in range(40)]
    course = course_of(fine, [20.0] * 40, 4, 30.0, 425.0)
    assert course.level_ppm[0] is None
    assert course.level_ppm[3] == pytest.approx((fine[11] + fine[12]) / 2.0)


def told(
    tmp_path: Path, night: Draw, end_ppm: float = math.inf, *, lacks: str = ""
) -> Morning:
    """Live a night and give account of it, CO2 ending at `end_ppm`."""
    rows, _ = live(night, 7)
    log = log_of(night, []) + b"".join(
        logs.line(
            "air",
            at_s,
            **{k: min(v, end_ppm) if k == "co2_ppm" else v for k, v in row.items()},
            **({"at_least": ["co2_ppm"]} if row["co2_ppm"] >= end_ppm else {}),
        )
        for at_s, row in (
            (at_s, {k: v for k, v in row.items() if k != lacks}) for at_s, row in rows
        )
    )
    return give_account(files(logs.write(tmp_path, log)))


def evening(burner: list[tuple[float, float]]) -> Draw:
    """Eleven cubic metres, two people, vents as they are, -9 C."""
    night = draw(4)
    night.volume_m3, night.people, night.heads = 11.0, 2, [(0.0, 2)]
    night.breath, night.low_kw, night.high_kw = 0.9, 0.8, 1.6
    night.vent_cm2, night.open_share = 60.0, [(0.0, 1.0, 0.0)]
    night.outside_c, night.wind_mps, night.wall_w_k = -9.0, 0.5, 28.0
    night.burner = burner
    return night


def test_warm_up_off_and_on_again_in_the_morning(tmp_path: Path) -> None:
    """What the plan advises is told as it was: 1.7 h lit, not all night."""
    on = [(0.0, 1.6), (3600.0, 0.0), (30_000.0, 1.6)]
    found = told(tmp_path, evening(on)).whole.totals
    assert found is not None
    assert found.lit_h == pytest.approx(1.67, abs=0.4)
    kwh = 1.6 * 6000.0 / 3600.0
    assert found.gas_kwh[0] <= kwh <= found.gas_kwh[2]
    assert 0.7 * kwh < found.gas_kwh[1] < 1.4 * kwh


def test_a_part_at_the_end_of_its_range_bounds_and_gives_no_figure(
    tmp_path: Path,
) -> None:
    """Gas is at least, air at most, and the account says why; no oxygen is told."""
    night = evening([(0.0, 0.0), (900.0, 0.8)])
    found = told(tmp_path, night, 5000.0, lacks="o2_pct")
    totals = found.whole.totals
    assert totals is not None
    assert totals.bounded_h > 4.0
    kwh = 0.8 * (9.0 - 0.25)
    assert totals.gas_kwh[0] <= kwh <= totals.gas_kwh[2]
    text = " ".join(account(found, is_whole=True).split())
    assert "at least" in text
    assert "its sensor at the end of its range" in text
    assert "at most" in text
    # nothing shows that the air carried off what a flame may have made in those hours
    assert totals.water_left_kg[2] > 1.0


def test_oxygen_tells_the_co2_beyond_the_end_of_its_part_s_range(
    tmp_path: Path,
) -> None:
    """Figures, not bounds, and right: 0.8 kW over all but the first quarter hour."""
    night = evening([(0.0, 0.0), (900.0, 0.8)])
    found = told(tmp_path, night, 5000.0)
    totals = found.whole.totals
    assert totals is not None
    assert totals.bounded_h == 0.0
    kwh = 0.8 * (9.0 - 0.25)
    assert totals.gas_kwh[0] <= kwh <= totals.gas_kwh[2]
    assert 0.8 * kwh < totals.gas_kwh[1] < 1.25 * kwh
    assert totals.gas_kwh[2] < 1.5 * kwh


def test_water_is_dry_a_bound_or_a_figure_and_never_negative() -> None:
    assert water_left((0.0, 0.0, 0.01)).startswith("dry")
    assert water_left((0.0, 0.2, 0.6)).startswith("at most 0.6 kg")
    assert water_left((0.5, 0.7, 0.9)).startswith("0.7 (0.5 to 0.9) kg")


TAP = {
    "off": BurnerSetting(2000.0, 300.0, 0.0),
    "low": BurnerSetting(11_000.0, 1000.0, 740.0, 0.8),
    "turned": BurnerSetting(8000.0, 3000.0, 493.0, 0.75, is_between=True),
}
"""A flame of 82 W for each 1,000 ppm an hour, beside people who give 2,000."""


def evidence(temp_c: list[float | None]) -> HeatEvidence:
    outside: list[float | None] = [-9.0] * COUNT
    sizes = 450.0, 11.0
    course = settled_course()
    balance = HeatBalance(course, temp_c, outside, *sizes, 28.0)
    return HeatEvidence(course, TAP, Heat(course, temp_c, outside, *sizes, balance))


def test_a_tap_between_its_stops_warms_as_its_co2_was_found() -> None:
    """What CO2 shows as a flame of 40 W fits a cabin that is all but cold.

    And one that fades to nothing fits one that grows cold: no power stays the same.
    """
    turned = Guess("turned", {}, Walks(0.1, 0.01))
    nearly_cold = evidence([-8.0] * COUNT)
    found = nearly_cold.worth_as_found(turned, [2500.0] * COUNT)
    assert found is not None
    assert found > nearly_cold.worth(turned) + 10.0
    fading = [2000.0 + 9000.0 * math.exp(-n * STEP_H / 2.5) for n in range(COUNT)]
    cold = evidence([-6.0 + 20.0 * math.exp(-n * STEP_H / 2.5) for n in range(COUNT)])
    faded = cold.worth_as_found(turned, fading)
    assert faded is not None
    assert faded > cold.worth(turned) + 10.0


def test_a_power_that_is_found_as_it_is_stated_changes_nothing() -> None:
    """In pieces of half an hour as in one; and without a tap there is none to find."""
    warm = evidence([9.0] * COUNT)
    changed = Guess("turned", {90: AIR}, Walks(0.1, 0.01))
    found = warm.worth_as_found(changed, [8000.0] * COUNT)
    assert found == pytest.approx(warm.worth(changed), abs=1e-6)
    stops = Guess("low", {90: "off"}, Walks(0.1, 0.01))
    assert warm.worth_as_found(stops, [8000.0] * COUNT) is None
    assert HeatEvidence(settled_course(), TAP, None).worth(stops) == 0.0
