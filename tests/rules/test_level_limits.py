"""A level rule's own settings: what is laxer, what is urgent, what cannot be."""

from typing import Any

import attrs
import pytest

from cabinvigil.daemon.rules import level
from cabinvigil.daemon.rules.level import LevelStep, Params
from tests.rules.test_level import CO, CO2, LOW_O2


@pytest.mark.parametrize(
    ("change", "says_"),
    [
        ({}, []),
        ({"steps": [LevelStep(19.8, "high"), LevelStep(18.5, "high")]}, []),
        ({"dead_band": 0.5}, []),
        ({"place": None}, []),
        (
            {"steps": [LevelStep(19.0, "high")]},
            ["the high step is at 19, published 19.5"],
        ),
        (
            {"steps": [LevelStep(19.5, "medium"), LevelStep(18.0, "medium")]},
            ["the high step at 19.5 is gone", "the high step at 18 is gone"],
        ),
        ({"dead_band": 0.1}, ["clears 0.1 past the limit, published 0.2"]),
        ({"place": ""}, ["judges one place alone: the bunk"]),
        ({"place": "ceiling"}, ["judges one place alone: ceiling"]),
        (
            {"side": "above"},
            ["judges o2_pct above its limits, published o2_pct below"],
        ),
        (
            {"quantity": "o2_hpa"},
            ["judges o2_hpa below its limits, published o2_pct below"],
        ),
        ({"before": 20.9}, ["a mean begins from 20.9, published 0"]),
    ],
)
def test_what_is_laxer_is_said(change: dict[str, Any], says_: list[str]) -> None:
    """Every way to make a limit less strict has its sentence; stricter has none."""
    assert level.laxer(attrs.evolve(LOW_O2, **change), LOW_O2) == says_


def test_a_graver_step_at_the_same_limit_is_not_laxer() -> None:
    """From low to medium at 30 ppm is stricter; a mean is not a value."""
    harder = attrs.evolve(CO, steps=[LevelStep(30.0, "high")])
    assert level.laxer(harder, CO) == []
    mean = attrs.evolve(CO2, steps=[step for step in CO2.steps if not step.over_s])
    assert level.laxer(mean, CO2) == ["the medium step at 5000 is gone"]
    above = attrs.evolve(CO, steps=[LevelStep(31.0, "low"), *CO.steps[1:]])
    assert level.laxer(above, CO) == ["the low step is at 31, published 30"]
    assert level.laxer(attrs.evolve(CO2, before=0.0), CO2) == [
        "a mean begins from 0, published 420"
    ]


def test_the_longest_mean_is_named() -> None:
    """A restart must forget none of the eight hours; without a mean, nothing."""
    assert level.means(CO2) == {"co2_ppm": 28_800.0}
    assert level.means(LOW_O2) == {}


def test_the_first_limit_is_urgent() -> None:
    """Its crossing does not wait for the next tick; a mean has no moment."""
    assert level.urgent(LOW_O2) == {"o2_pct": ("below", 19.5)}
    assert level.urgent(CO) == {"co_ppm": ("above", 30.0)}
    mean = Params("co2_ppm", "above", [LevelStep(5000.0, "low", over_s=3600.0)])
    assert level.urgent(mean) == {}


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"quantity": "oxygen"}, "no quantity"),
        ({"steps": []}, "never ring"),
        ({"dead_band": -0.1}, "dead_band is -0.1"),
    ],
)
def test_limits_that_cannot_be_are_refused(wrong: dict[str, Any], why: str) -> None:
    """A misspelt quantity or an empty ladder would be a guard that is gone."""
    with pytest.raises(ValueError, match=why):
        attrs.evolve(LOW_O2, **wrong)


def test_a_mean_longer_than_the_past_is_refused() -> None:
    """Eight hours are kept; a mean over a day could never be told."""
    with pytest.raises(ValueError, match="over_s is 86400"):
        LevelStep(50.0, "low", over_s=86400.0)
