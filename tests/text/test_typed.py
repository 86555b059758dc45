"""Frozen dataclasses as plain values and back: the same, or refused."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, Literal

import pytest

from cabinvigil.daemon.text.typed import TypedError, from_plain, to_plain


class Colour(Enum):
    RED = "r"


@dataclass(frozen=True)
class Inner:
    at_s: float = -math.inf
    word: Literal["a", "b"] = "a"


@dataclass(frozen=True)
class Outer:
    number: float
    count: int = 0
    is_on: bool = False
    colour: Colour | None = None
    inner: Inner = field(default_factory=Inner)
    pair: tuple[float, int] = (0.0, 0)
    many: tuple[Inner, ...] = ()
    names: frozenset[str] = frozenset()
    by_name: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    anything: Any = None


FULL = Outer(
    0.1 + 0.2,
    3,
    True,
    Colour.RED,
    Inner(math.inf, "b"),
    (1e-300, 2),
    (Inner(1.0), Inner()),
    frozenset({"x", "y"}),
    {"o2": (1.0, -math.inf)},
    {"any": [1, "two"]},
)


@pytest.mark.parametrize("value", [FULL, Outer(math.inf)])
def test_what_was_put_into_json_comes_back_the_same(value: Outer) -> None:
    plain = json.loads(json.dumps(to_plain(value), allow_nan=False))
    assert from_plain(Outer, plain) == value


def test_defaults_are_left_out_and_fields_may_be_given_aside() -> None:
    assert to_plain(Outer(1.0)) == {"number": 1.0}
    assert to_plain(FULL, frozenset({"number"})).keys().isdisjoint({"number"})
    assert from_plain(Outer, {"count": 2}, number=4.0) == Outer(4.0, 2)


@pytest.mark.parametrize(
    ("plain", "words"),
    [
        ([], "Outer is not an object"),
        ({}, "Outer lacks a field"),
        ({"number": 1.0, "strange": 2}, "has no field strange"),
        ({"number": "x"}, "Outer.number: 'x' is not float"),
        ({"number": True}, "Outer.number"),
        ({"number": 1e300}, "Outer.number"),
        ({"number": 1.0, "count": 1.5}, "Outer.count"),
        ({"number": 1.0, "is_on": 1}, "Outer.is_on"),
        ({"number": 1.0, "colour": "BLUE"}, "Outer.colour"),
        ({"number": 1.0, "inner": {"word": "c"}}, "Inner.word"),
        ({"number": 1.0, "pair": [1.0]}, "is not 2 values"),
        ({"number": 1.0, "many": {}}, "is not list"),
        ({"number": 1.0, "by_name": []}, "Outer.by_name"),
        ({"number": 1.0, "names": [1]}, "Outer.names"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_field(plain: Any, words: str) -> None:
    with pytest.raises(TypedError) as caught:
        from_plain(Outer, plain)
    assert words in str(caught.value)
