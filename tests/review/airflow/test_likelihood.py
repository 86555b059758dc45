"""What one explanation of a night is worth, and the search for the best."""

import math

import pytest

from cabinvigil.daemon.review.airflow.guess import AIR, BurnerSetting, Guess, Walks
from cabinvigil.daemon.review.airflow.heat import Heat
from cabinvigil.daemon.review.airflow.heat_balance import HeatBalance
from cabinvigil.daemon.review.airflow.kalman import Course, Smoothed
from cabinvigil.daemon.review.airflow.likelihood import (
    DATE_COST,
    IMPOSSIBLE_COST,
    Judge,
)
from cabinvigil.daemon.review.airflow.mixture import mixed
from cabinvigil.daemon.review.airflow.rivals import NightSearch

STEP_H = 2.0 / 60.0
SETTINGS = {
    "off": BurnerSetting(2000.0, 300.0, 0.0),
    "low": BurnerSetting(10_000.0, 1000.0, 740.0),
}
CALM = Walks(0.1, 0.01)


def lived(k: list[float], s: list[float], level: float = 430.0) -> Course:
    """A cabin without noise, by the exact solution of each step."""
    levels: list[float | None] = []
    excess: list[float | None] = []
    for now_k, now_s in zip(k, s, strict=True):
        levels.append(level)
        settles = 430.0 + now_s / now_k
        stays = math.exp(-now_k * STEP_H)
        after = settles + (level - settles) * stays
        # the mean over the step, of an exponential
        mean = settles + (level - settles) * (1.0 - stays) / (now_k * STEP_H)
        excess.append(mean - 430.0)
        level = after
    return Course(STEP_H, levels, [3.0] * len(k), excess, [1.0] * len(k))


def test_a_lit_burner_is_dated_and_named() -> None:
    """Source up fivefold at node 40, air the same: one change, and its figures."""
    course = lived([2.0] * 150, [2000.0] * 40 + [10_000.0] * 110)
    explained = NightSearch(course, SETTINGS, None).explain()
    ((at, kind),) = explained.guess.changes.items()
    assert (explained.guess.start, kind) == ("off", "low")
    assert at in (38, 39, 40)
    assert explained.found.k[100] == pytest.approx(2.0, rel=0.05)
    assert explained.found.s[100] == pytest.approx(10_000.0, rel=0.05)


def test_a_vent_that_is_opened_is_dated_and_named() -> None:
    """Three times the air at node 80, the burner the same."""
    course = lived([1.0] * 80 + [3.0] * 80, [10_000.0] * 160)
    explained = NightSearch(course, SETTINGS, None).explain()
    kinds = [kind for _, kind in sorted(explained.guess.changes.items())]
    assert explained.guess.start == "low"
    assert kinds == [AIR]
    assert explained.found.k[40] == pytest.approx(1.0, rel=0.07)
    assert explained.found.k[120] == pytest.approx(3.0, rel=0.07)


def test_a_calm_night_has_no_change() -> None:
    """Nothing is invented."""
    explained = NightSearch(
        lived([1.5] * 120, [2000.0] * 120), SETTINGS, None
    ).explain()
    assert explained.guess.changes == {}
    assert explained.guess.start == "off"


def test_what_cannot_be_costs() -> None:
    """People who take CO2 in, and each change, are paid for."""
    judge = Judge(lived([2.0] * 60, [2000.0] * 60), SETTINGS, None)
    noise = judge.first_noise()
    fair = judge.stand(Guess("off", {}, CALM), noise)
    assert fair.way.impossible == 0
    assert fair.worth == fair.way.ln_likelihood
    dear = judge.stand(Guess("off", {20: AIR}, CALM), noise)
    assert dear.worth == dear.way.ln_likelihood - DATE_COST
    vacuum = {**SETTINGS, "off": BurnerSetting(-5000.0, 10.0, 0.0)}
    absurd = Judge(lived([2.0] * 60, [2000.0] * 60), vacuum, None)
    stand = absurd.stand(Guess("off", {}, CALM), noise)
    assert stand.way.impossible > 50
    paid = stand.way.ln_likelihood - IMPOSSIBLE_COST * stand.way.impossible
    assert stand.worth == pytest.approx(paid)


def test_an_empty_cabin_needs_more_than_the_usual_reason() -> None:
    """A setting's own cost is paid at each change to it."""
    settings = {**SETTINGS, "empty": BurnerSetting(0.0, 100.0, 0.0, cost=15.0)}
    judge = Judge(lived([2.0] * 60, [2000.0] * 60), settings, None)
    stand = judge.stand(Guess("off", {20: "empty"}, CALM), judge.first_noise())
    paid = stand.way.ln_likelihood - DATE_COST - 15.0
    paid -= IMPOSSIBLE_COST * stand.way.impossible
    assert stand.worth == pytest.approx(paid)


def test_the_temperature_s_bend_speaks_for_the_burner() -> None:
    """740 W less bend 11 m3 by 12 K/h at 20 kJ/K a cubic metre; air hardly does."""
    course = lived([1.5] * 120, [10_000.0] * 60 + [2000.0] * 60)
    temps: list[float | None] = [
        18.0 + (0.0 if n < 60 else -12.1 * (n - 60) * STEP_H) for n in range(120)
    ]
    outside: list[float | None] = [-9.0] * 120
    balance = HeatBalance(course, temps, outside, 450.0, 11.0, 28.0)
    heat = Heat(course, temps, outside, 450.0, 11.0, balance)
    assert heat.bend_k_h(60) == pytest.approx(-12.1, rel=0.1)
    off = heat.worth([(-12.1, -740.0)])
    nothing = heat.worth([(-12.1, -20.0)])
    assert off > nothing + 3.0
    assert heat.bend_k_h(0) is None
    assert heat.worth([]) == 0.0


def test_doubt_between_explanations_widens_the_answer() -> None:
    """Means are weighed; the variance holds their distance."""

    def found(k: float, var: float) -> Smoothed:
        return Smoothed([k], [100.0], [var], [1.0], [0.0], [0.0], [0.0])

    both = mixed([found(1.0, 0.01), found(3.0, 0.01)], [1.0, 1.0])
    assert both.k == [2.0]
    assert both.var_k == [pytest.approx(1.01)]
    assert mixed([found(1.0, 0.01)], [1.0]).var_k == [0.01]
