"""Checks that rules make of their own settings, each with a sentence on what is wrong.

A limit that can never be reached is a guard that is silently gone: it must not pass.
Each check of a number also says which way that number gets less strict.
Written for attrs: `attrs.field(validator=...)`.
"""

import math
from collections.abc import Sized
from typing import Any, Literal, Protocol

from cabinvigil.drivers.kit.quantity import QUANTITIES

NO_BOUND = 1e9
"""Told as `or more`."""

Direction = Literal["higher", "lower", "outward", "inward", "either"]
"""Which way a number gets less strict.  `outward`: further to the `side` that its rule
guards, lower where that is `below`; `inward`: the other way.  `either`: no change of it
is plainly stricter."""


class Named(Protocol):
    """What attrs hands to a validator besides the value."""

    @property
    def name(self) -> str:
        """The field's name."""
        ...


def is_quantity(_: Any, field: Named, value: str) -> None:
    """Want a quantity that a part can measure.

    Raises:
        ValueError: nobody measures it.
    """
    if value not in QUANTITIES:
        known = ", ".join(QUANTITIES)
        raise ValueError(f"{field.name}: {value!r} is not a quantity; known: {known}")


def not_empty(_: Any, field: Named, value: Sized) -> None:
    """Want at least one member.

    Raises:
        ValueError: there is none.
    """
    if not len(value):
        raise ValueError(f"{field.name} is empty, so it would never sound; give one")


class Finite:
    """Want a finite number, in whatever unit."""

    def __init__(self, *, laxer: Direction) -> None:
        self.laxer = laxer

    def __call__(self, _: Any, field: Named, value: float) -> None:
        """Check one value.

        Raises:
            ValueError: it is infinite or NaN.
        """
        if not math.isfinite(value):
            raise ValueError(f"{field.name} is {value:g}; give a finite number")


class FiniteOrNever(Finite):
    """Want a finite number, or None: never, which is the laxest."""

    def __call__(self, _: Any, field: Named, value: float | None) -> None:
        """Check one value.

        Raises:
            ValueError: it is infinite or NaN.
        """
        if value is not None:
            super().__call__(_, field, value)


class Between(Finite):
    """Want a number from `low` to `high`, both allowed, and never NaN."""

    def __init__(self, low: float, high: float = NO_BOUND, *, laxer: Direction) -> None:
        super().__init__(laxer=laxer)
        self.low = low
        self.high = high

    def __call__(self, _: Any, field: Named, value: float) -> None:
        """Check one value.

        Raises:
            ValueError: it lies outside.
        """
        if not self.low <= value <= self.high:
            upper = f"to {self.high:g}" if self.high < NO_BOUND else "or more"
            raise ValueError(f"{field.name} is {value:g}; give {self.low:g} {upper}")
