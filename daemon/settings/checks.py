"""What a value must be: notes that stand beside a field's type and check its value."""

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Protocol
from zoneinfo import available_timezones

from cabinvigil.daemon.core.validators import Direction
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    listed,
    nearest,
    not_a,
    not_a_number,
    shown,
)
from cabinvigil.daemon.text.time_zones import zone_named


class Note(Protocol):
    """Checks one value that already has its field's type."""

    def check(self, value: Any) -> Any:
        """Return the value to keep.

        Raises:
            WrongError: it cannot be.
        """
        ...


class Within:
    """A number from `low` to `high`, both allowed."""

    def __init__(self, low: float, high: float) -> None:
        self.low = low
        self.high = high

    def check(self, value: float) -> float:
        """Return the value, or say which range is accepted."""
        if self.low <= value <= self.high:
            return value
        raise BadValueError(
            f"is {shown(value)}, outside what is accepted",
            f"give a value from {self.low:g} to {self.high:g}",
        )


@dataclass(frozen=True)
class Laxer:
    """Says which way a limit gets less strict; false is lower, and fewer words are."""

    laxer: Direction


class Word:
    """A text that fits a pattern."""

    def __init__(self, pattern: str, mend: str, longest: int = 40) -> None:
        self.pattern = re.compile(pattern)
        self.mend = mend
        self.longest = longest

    def check(self, value: str) -> str:
        """Return the text, or say what it may hold."""
        if len(value) > self.longest:
            raise BadValueError(
                f"is {len(value)} characters long", f"use {self.longest} at most"
            )
        if self.pattern.fullmatch(value):
            return value
        raise BadValueError(f"is {shown(value)}, which does not fit", self.mend)


def one_of(value: str, words: Sequence[str]) -> str:
    """Return the word if it is known.

    Raises:
        WrongError: it is not; the sentence lists the known ones, the nearest first.
    """
    if value in words:
        return value
    close = nearest(value, words)
    hint = f"write `{close}` if that was meant; " if close else ""
    raise BadValueError(
        f"is {shown(value)}, which is not known", f"{hint}known: {listed(words)}"
    )


class Location:
    """A place in the file system, from the root."""

    def __init__(self, longest: int = 4095) -> None:
        # 4095: PATH_MAX of Linux less its closing zero (limits.h, unverified).
        self.longest = longest

    def check(self, value: str) -> str:
        """Return the path, or say why it is none."""
        if not value.startswith("/"):
            raise BadValueError(
                f"is {shown(value)}, which does not begin at the root",
                "write the whole path, beginning with /",
            )
        if not value.isprintable():
            raise BadValueError("holds a character that cannot be printed", "remove it")
        if len(value.encode()) > self.longest:
            raise BadValueError(
                f"is longer than {self.longest} bytes", "use a shorter path"
            )
        return value


class ZoneName:
    """A time zone of the tz database."""

    def check(self, value: str) -> str:
        """Return the name, or say that this machine knows no such zone."""
        if zone_named(value) is not None:
            return value
        near = nearest(value, sorted(available_timezones()))
        hint = f"write `{near}` if that was meant" if near else "see timedatectl(1)"
        raise BadValueError(
            f"is {shown(value)}, not a time zone that this machine knows",
            f'write it like zone = "Europe/Oslo" or "America/Denver"; {hint}',
        )


class Day:
    """A calendar day."""

    def check(self, value: dt.date) -> dt.date:
        """Return the day, or say that it lies before such parts were made."""
        if value.year < 2000:
            raise BadValueError(
                f"is {value}, before such sensors were made", "check the year"
            )
        return value


FUELS = ("propane", "butane", "isobutane")
"""The pure gases that the air model knows."""


class FuelMix:
    """A fuel's name, or a mix by shares; kept as shares that add up to one."""

    def check(self, value: object) -> Mapping[str, float]:
        """Return the shares by gas, or say what is wrong with them."""
        if isinstance(value, str):
            return MappingProxyType({one_of(value, FUELS): 1.0})
        mend = "write one of " + listed(f'"{fuel}"' for fuel in FUELS)
        mend += ", or a mix like { propane = 0.7, butane = 0.3 }"
        if not isinstance(value, Mapping) or not value:
            raise not_a("a fuel", value, mend)
        shares: dict[str, float] = {}
        for gas, share in value.items():
            one_of(str(gas), FUELS)
            if isinstance(share, bool) or not isinstance(share, int | float):
                raise not_a_number(str(gas), share)
            if not 0.0 <= share <= 1.0:
                raise BadValueError(
                    f"has {gas} = {shown(share)}", "give shares from 0 to 1"
                )
            shares[str(gas)] = float(share)
        total = math.fsum(shares.values())
        # 0.005: two decimals, as a cylinder's label is printed, may miss by that much.
        if abs(total - 1.0) > 0.005:
            raise BadValueError(
                f"adds up to {total:.3g}", "give shares that add up to 1"
            )
        return MappingProxyType({gas: share / total for gas, share in shares.items()})
