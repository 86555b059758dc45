"""A thermostat's cycles in the temperature, and what they say of burner and air."""

import math
from random import Random

import pytest

from cabinvigil.daemon.review.airflow.cycles import Cycles, cycles_of
from cabinvigil.daemon.review.airflow.sources import (
    HIGH,
    HIGH_LOW,
    LOW,
    OFF,
    ON_OFF,
    TURNED,
    settings_of,
    sources_of,
    swings_of,
)
from cabinvigil.daemon.review.cabin_facts import CabinFacts
from tests.bench.second_nights.kinds import KINDS
from tests.bench.second_score import judge

STEP_S = 30.0
NOISE_K = 0.03
FACTS = CabinFacts(volume_m3=11.0, people=2.0, burner_kw=1.6, burner_low_kw=0.8)
MOLES = 440.0


def saw_tooth(
    hours: float, period_s: float, duty: float, swing_k: float = 0.7
) -> list[float | None]:
    """Up while lit, down while not, as a thermostat of common practice has it."""
    random, temps = Random(1), []
    for n in range(round(hours * 3600.0 / STEP_S)):
        at = n * STEP_S / period_s % 1.0
        tooth = at / duty if at < duty else (1.0 - at) / (1.0 - duty)
        temps.append(15.0 + swing_k * (2.0 * tooth - 1.0) + random.gauss(0.0, NOISE_K))
    return list(temps)


@pytest.mark.parametrize("duty", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("period_s", [300.0, 600.0, 1000.0])
def test_cycles_are_seen_and_their_duty_told(period_s: float, duty: float) -> None:
    """Within what is told to be unsure, and the period within a fifth."""
    found = cycles_of(saw_tooth(8.0, period_s, duty), STEP_S)
    assert sum(one > 0.0 for one in found.duty) > 0.9 * len(found.duty)
    assert found.mean_duty == pytest.approx(duty, abs=1.645 * found.duty_sd)
    assert found.period_s == pytest.approx(period_s, rel=0.2)


def test_quick_cycles_are_seen_and_their_duty_is_hardly_known() -> None:
    """Of 45 s, less than two readings: it cycles, and one share stands for all."""
    found = cycles_of(saw_tooth(8.0, 47.0, 0.4), STEP_S)
    assert sum(one > 0.0 for one in found.duty) > 0.9 * len(found.duty)
    assert len({one for one in found.duty if one > 0.0}) == 1
    assert found.duty_sd == 0.15


def test_a_night_without_a_thermostat_has_no_cycles() -> None:
    """Warming, cooling, two doors, a part's noise; and a night that is not told."""
    random = Random(2)
    quiet: list[float | None] = [
        18.0 - 10.0 * math.exp(-n / 100.0) + random.gauss(0.0, NOISE_K)
        for n in range(960)
    ]
    for begin in (300, 600):
        for n in range(begin, begin + 40):
            one = quiet[n]
            assert one is not None
            quiet[n] = one - 3.0 * math.exp(-(n - begin) / 10.0)
    assert cycles_of(quiet, STEP_S).mean_duty == 0.0
    assert cycles_of([None] * 960, STEP_S) == Cycles([0.0] * 960)
    assert cycles_of(quiet[:50], STEP_S).mean_duty == 0.0


def test_warming_up_before_the_first_cycle_is_none() -> None:
    """An hour of warming at full flame, then cycles: they begin after it."""
    rise: list[float | None] = [-0.3 + 15.0 * n / 120.0 for n in range(120)]
    found = cycles_of([*rise, *saw_tooth(6.0, 600.0, 0.5)], STEP_S)
    first = next(n for n, one in enumerate(found.duty) if one > 0.0)
    assert 100 <= first <= 145


def test_a_burner_that_cycles_gives_the_mean_of_its_two_ways() -> None:
    """By hand: half of 1.6 kW, or half way between 0.8 and 1.6; one flame's CO2."""
    sources = sources_of(FACTS)
    cycles = Cycles([0.5] * 10, 600.0)
    settings = settings_of(sources, MOLES, cycles)
    off = settings[OFF].ppm_per_h
    per_kw = (settings[HIGH].ppm_per_h - off) / 1.6
    assert settings[ON_OFF].ppm_per_h == pytest.approx(off + 0.8 * per_kw)
    assert settings[HIGH_LOW].ppm_per_h == pytest.approx(off + 1.2 * per_kw)
    assert settings[ON_OFF].is_cycling
    assert not settings[LOW].is_cycling
    swings = swings_of(sources, cycles, MOLES)
    # sd of a fair coin: half of the flame, either way
    assert swings[0].sd_ppm_per_h == pytest.approx(0.5 * 1.6 * per_kw)
    assert swings[0].share == pytest.approx(1.0)
    assert swings_of(sources, Cycles([0.0] * 10), MOLES) == []


def test_a_tap_may_stand_beneath_its_lowest_stop() -> None:
    """And no search adds it, but it stands beside what was found."""
    settings = settings_of(sources_of(FACTS), MOLES)
    turned, low = settings[TURNED], settings[LOW]
    assert turned.is_between
    assert turned.ppm_per_h - turned.sd_ppm_per_h < low.ppm_per_h - low.sd_ppm_per_h
    assert turned.ppm_per_h + 2.0 * turned.sd_ppm_per_h > low.ppm_per_h
    assert ON_OFF not in settings


def test_guests_make_the_water_that_a_flame_would_not() -> None:
    """Three of them, 35 g/h each less what their CO2 means as propane's.

    11.0 l CO2 an hour at 20 C are 0.457 mol; 4 H2O for 3 CO2: 11.0 g.
    """
    grams_h = sources_of(FACTS).guests_water * 3.6e6
    flame_g_h = 11.0 / 24.06 * 4.0 / 3.0 * 18.0
    assert grams_h == pytest.approx(3.0 * (35.0 - flame_g_h), 0.02)


def test_nights_with_a_thermostat_are_told_and_mostly_right() -> None:
    """Of the second generator: none is withheld, and most truths lie inside."""
    assert "thermostat" in KINDS
    judged = [judge(seed, "thermostat") for seed in range(42_000, 42_002)]
    assert not [one.withheld for one in judged if one.withheld]
    inside = [
        told.is_inside for one in judged for told in one.whole.values() if one.whole
    ]
    assert sum(inside) >= 0.7 * len(inside)
