"""One gas at two places, and not the same: the air is unmixed."""

import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import stratified
from cabinvigil.daemon.rules.stratified import Params
from tests.core.scenario import Night, cabin
from tests.rules.asked import asked, says

LOW = Priority.LOW


def places(quantity: str, bunk: float, ceiling: float, marks: str = "") -> Night:
    keys = [quantity, f"{quantity}_ceiling"]
    night = Night(cabin(keys=[*keys, f"{quantity}_outside"]))
    night.air(
        {keys[0]: bunk, keys[1]: ceiling, f"{quantity}_outside": 1.0},
        doubtful=keys[:1] if "?" in marks else [],
        at_least=keys[:1] if "+" in marks else [],
    )
    return night


@pytest.mark.parametrize(
    ("quantity", "low", "allowed"),
    [("o2_pct", 19.0, 1.0), ("co2_ppm", 5000.0, 2500.0), ("temp_c", 12.0, 8.0)],
)
def test_places_that_differ_by_much_are_told(
    quantity: str, low: float, allowed: float
) -> None:
    """Beyond two parts' own difference (own choice); held down to seven tenths."""
    params = Params(quantity)
    far = places(quantity, low + 1.01 * allowed, low)
    assert says(stratified, params, far) is LOW
    near = asked(stratified, params, places(quantity, low, low + 0.99 * allowed))
    assert near is not None
    assert (near.priority, near.hold) == (None, LOW)
    same = asked(stratified, params, places(quantity, low, low))
    assert same is not None
    assert same.hold is None


def test_both_places_are_named() -> None:
    """Which is low, which is high, by how much, of what."""
    verdict = asked(stratified, Params("o2_pct"), places("o2_pct", 20.5, 18.5))
    assert verdict is not None
    assert verdict.facts == {
        "place": "ceiling",
        "other": "bunk",
        "apart": 2.0,
        "unit": "%",
        "text": "oxygen",
    }


@pytest.mark.parametrize("marks", ["?", "+"])
def test_doubt_and_bounds_are_not_compared(marks: str) -> None:
    """One place that is sure is no difference."""
    night = places("o2_pct", 20.5, 18.5, marks)
    assert asked(stratified, Params("o2_pct"), night) is None


def test_one_place_is_no_layer() -> None:
    """The other silent; or a quantity that is not compared at all."""
    night = places("o2_pct", 20.5, 18.5)
    night.air({"o2_pct": 20.5}, 31.0)
    assert asked(stratified, Params("o2_pct"), night) is None
    assert asked(stratified, Params("rh_pct"), places("rh_pct", 90.0, 10.0)) is None
