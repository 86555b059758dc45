"""Limits that could never be reached do not pass."""

import math

import attrs
import pytest

from cabinvigil.daemon.core.validators import Between, Finite, is_quantity, not_empty


@attrs.frozen
class Made:
    quantity: str = attrs.field(default="o2_pct", validator=is_quantity)
    steps: list[int] = attrs.field(factory=lambda: [1], validator=not_empty)
    span_s: float = attrs.field(
        default=5.0, validator=Between(1.0, 10.0, laxer="higher")
    )
    at: float = attrs.field(default=0.0, validator=Finite(laxer="outward"))


def test_what_can_be_passes() -> None:
    """Both ends are allowed."""
    assert Made(span_s=1.0) != Made(span_s=10.0)


def test_a_quantity_that_nobody_measures_is_refused() -> None:
    """The sentence lists what can be measured."""
    with pytest.raises(
        ValueError, match="quantity: 'o2' is not a quantity; known: o2_p"
    ):
        Made(quantity="o2")


def test_an_empty_ladder_is_refused() -> None:
    """It would never ring."""
    with pytest.raises(ValueError, match="steps is empty, so it would never sound"):
        Made(steps=[])


@pytest.mark.parametrize("span_s", [0.9, 10.1, math.nan, -math.inf])
def test_a_number_outside_is_refused_with_its_range(span_s: float) -> None:
    """NaN is outside of everything."""
    with pytest.raises(ValueError, match=r"span_s is .*; give 1 to 10"):
        Made(span_s=span_s)


@pytest.mark.parametrize("at", [math.nan, math.inf, -math.inf])
def test_a_limit_in_whatever_unit_is_finite(at: float) -> None:
    """Nothing is ever beyond NaN."""
    with pytest.raises(ValueError, match=r"at is .*; give a finite number"):
        Made(at=at)
