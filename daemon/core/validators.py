"""Checks that rules make of their own settings, each with a sentence on what is wrong.

A limit that can never be reached is a guard that is silently gone: it must not pass.
Written for attrs: `attrs.field(validator=...)`.
"""

from collections.abc import Sized
from typing import Any, Protocol

from cabinvigil.drivers.kit.quantity import QUANTITIES

NO_BOUND = 1e9
"""Told as `or more`."""


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
        raise ValueError(f"{field.name}: {value!r} is no quantity; known: {known}")


def not_empty(_: Any, field: Named, value: Sized) -> None:
    """Want at least one member.

    Raises:
        ValueError: there is none.
    """
    if not len(value):
        raise ValueError(f"{field.name} is empty, so it would never ring; give one")


class Between:
    """Want a number from `low` to `high`, both allowed, and never NaN."""

    def __init__(self, low: float, high: float = NO_BOUND) -> None:
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
