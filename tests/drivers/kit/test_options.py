"""Options: each mistake is one ValueError that names the key and the mend."""

from typing import Any

import pytest

from cabinvigil.drivers.kit.options import (
    choice,
    known,
    no_options,
    number,
    optional_number,
)


def test_unknown_key_lists_those_there_are() -> None:
    """A misspelt key is refused with the right ones."""
    known({"b": 1}, ["a", "b"])
    with pytest.raises(ValueError, match="c: no such option; this sensor has a, b"):
        known({"c": 1}, ["b", "a"])
    with pytest.raises(ValueError, match="this sensor has none"):
        known({"c": 1}, [])


def test_a_part_without_options_refuses_any() -> None:
    """Each call makes a codec of its own."""
    make = no_options(list[int])
    assert make({}) == []
    assert make({}) is not make({})
    with pytest.raises(ValueError, match="a: no such option"):
        make({"a": 1})


@pytest.mark.parametrize("value", ["7", True, None])
def test_not_a_number(value: Any) -> None:
    """Text, booleans and nothing are no numbers."""
    with pytest.raises(ValueError, match=r"mv: .* is not a number; write 7 to 14"):
        number({"mv": value}, "mv", 9, 7, 14)


@pytest.mark.parametrize("value", [6.9, 14.1, float("nan"), float("inf")])
def test_outside(value: float) -> None:
    """A number outside its bounds is refused, and so is one that is none."""
    with pytest.raises(ValueError, match=r"mv: .* is outside 7 to 14"):
        number({"mv": value}, "mv", 9, 7, 14)


def test_default_and_bounds() -> None:
    """A missing option takes its default; the bounds themselves are allowed."""
    assert number({}, "mv", 9, 7, 14) == 9
    assert number({"mv": 7}, "mv", 9, 7, 14) == 7.0
    assert optional_number({}, "mv", 7, 14) is None


def test_choice() -> None:
    """A word must be one of those there are."""
    assert choice({}, "mode", "a", ["a", "b"]) == "a"
    assert choice({"mode": "b"}, "mode", "a", ["a", "b"]) == "b"
    with pytest.raises(ValueError, match="mode: 'c' is none of a, b"):
        choice({"mode": "c"}, "mode", "a", ["a", "b"])
