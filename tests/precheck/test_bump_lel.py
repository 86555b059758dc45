"""Test gas for the sensors of unburnt gas: seen, heard, and told to no phone."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.commands.precheck import LEL_RANGE_PCT
from cabinvigil.daemon.precheck.truth import BumpTrial, Subject, proof_age, subjects
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.proofs import CanOfGas
from tests.precheck.test_bump_test import CALM, through_the_test, words, words_of

GAS = PartSettings(
    kind="frame9_gas",
    port="/dev/serial/by-path/z",
    place="floor",
    interval_s=1.0,
    max_age_s=30.0,
    options={"answer_lel_pct": 1.0},
)
NOW = datetime(2026, 1, 16, 20, 0, tzinfo=UTC)


def can(lel_pct: float) -> CanOfGas:
    return CanOfGas("gas_lel_pct", lel_pct)


@pytest.mark.parametrize("lel_pct", LEL_RANGE_PCT)
def test_gas_is_seen_and_heard_and_no_phone_hears_of_it(lel_pct: float) -> None:
    """Its alarm, that no answer quiets from 20 % on, ends with the test."""
    evening = through_the_test(
        replace(CALM, gas_lel_pct=lel_pct),
        gas=can(lel_pct),
        parts={"floor-gas": GAS},
        afterwards_s=60.0,
    )
    assert words(evening)["test gas"] == "good"
    assert evening.test is not None
    (proof,) = evening.test.proofs
    assert (proof.part, proof.quantity, proof.by) == ("floor-gas", "gas_lel_pct", "gas")
    assert "temporal-four" in evening.phone.sounds
    assert evening.phone.heard == []
    assert evening.still == []


@pytest.mark.hazard("silenced-by-test")
def test_gas_that_stays_after_the_test_is_told() -> None:
    """It was no can's: five minutes keep it from a phone, and no longer."""
    leaks = replace(CALM, gas_lel_pct=25.0)
    evening = through_the_test(
        leaks, takes_away=leaks, gas=can(25.0), parts={"floor-gas": GAS}
    )
    assert "bad" in words_of(evening, "test gas")
    assert "gas-leak" in evening.phone.heard
    assert "gas-leak" in evening.still


def test_a_limit_that_lets_it_pass_unheard_is_bad() -> None:
    evening = through_the_test(
        replace(CALM, gas_lel_pct=50.0),
        gas=can(50.0),
        parts={"floor-gas": GAS},
        without=("gas",),
        afterwards_s=0.0,
    )
    assert "bad" in words_of(evening, "test gas")


@given(
    st.floats(*LEL_RANGE_PCT),
    st.lists(
        st.tuples(st.floats(0.1, 20.0), st.floats(-0.1, 2.5)), min_size=1, max_size=12
    ),
    st.floats(1.0, 40.0),
)
def test_it_passes_only_what_showed_the_can_s_gas_in_time(
    lel_pct: float, course: list[tuple[float, float]], lag_s: float
) -> None:
    """Four fifths of it within three lags, and never half as much again."""
    own = Subject("gas", "frame9_gas", "gas_lel_pct", "gas_lel_pct", lag_s)
    trial = BumpTrial([own], {"gas_lel_pct": 0.0}, can(lel_pct))
    since_s, reached, most = 0.0, False, 0.0
    for step_s, share in course:
        since_s += step_s
        shown = share * lel_pct
        trial.see(since_s, {"gas_lel_pct": shown})
        most = max(most, shown)
        reached = reached or (shown >= 0.8 * lel_pct and since_s <= own.allowed_s)
    (proof,) = trial.proofs(NOW)
    assert (proof.failed == "") is (reached and most <= 1.5 * lel_pct)


def test_only_parts_for_unburnt_gas_are_asked_and_each_says_when_it_was() -> None:
    parts = {**example().parts, "floor-gas": GAS}
    assert [one.part for one in subjects(parts, can(50.0))] == ["floor-gas"]
    (aged,) = proof_age([], {"gas_lel_pct": "gas_lel_pct"}, NOW)
    assert aged == ("mind", "never tested with test gas (`precheck --lel PCT`)")
