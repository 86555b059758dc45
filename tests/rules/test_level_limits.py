"""A level rule's own settings: what is urgent, what cannot be."""

from typing import Any

import attrs
import pytest

from cabinvigil.daemon.core.warmth import RUNS_S
from cabinvigil.daemon.rules import level
from cabinvigil.daemon.rules.level import LevelStep, Params
from tests.rules.test_level import CO, CO2, LOW_O2


def test_the_longest_mean_is_named() -> None:
    """A restart must forget none of the eight hours; without a mean, nothing.

    Of oxygen it must not forget how its cell's warmth has run.
    """
    assert level.means(CO2) == {"co2_ppm": 28_800.0}
    assert level.means(LOW_O2) == {"temp_c": RUNS_S}


def test_every_step_is_urgent() -> None:
    """A reading past it does not wait for the next tick; a mean has no moment."""
    assert level.urgent(LOW_O2) == {"o2_pct": (("below", 19.5), ("below", 18.0))}
    steps = [("above", 30.0), ("above", 70.0), ("above", 200.0)]
    assert level.urgent(CO) == {"co_ppm": tuple(steps)}
    mean = Params("co2_ppm", "above", [LevelStep(5000.0, "low", over_s=3600.0)])
    assert level.urgent(mean) == {}


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"quantity": "oxygen"}, "is not a quantity"),
        ({"steps": []}, "never sound"),
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
