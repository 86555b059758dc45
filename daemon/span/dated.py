"""What spans and tests have alike: whose, when, and how many are kept. Pure."""

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
from datetime import UTC, date, datetime
from typing import Protocol, TypeVar


class Dated(Protocol):
    """Something that is kept of a part: a span, or a test."""

    @property
    def part(self) -> str:
        """The part's name in the config."""

    @property
    def kind(self) -> str:
        """Its kind."""

    @property
    def at(self) -> datetime:
        """When; aware, in UTC."""


D = TypeVar("D", bound=Dated)


def dated_of_part(
    kept: Sequence[D], part: str, kind: str, since: date | None = None
) -> list[D]:
    """Return what is kept of the part that hangs there now, in its order.

    Args:
        kept: of all parts.
        part: its name in the config.
        kind: another kind under the same name is another part.
        since: the day it was put into service; what is older was another cell's.
    """
    return [
        one
        for one in kept
        if (one.part, one.kind) == (part, kind)
        and (since is None or one.at.date() >= since)
    ]


def newest(kept: Sequence[D], most: int, of: Callable[[D], Hashable]) -> list[D]:
    """Return the newest of each, the oldest first.

    Args:
        kept: the oldest first.
        most: how many of each.
        of: what they are counted by.
    """
    counts: Counter[Hashable] = Counter()
    found = []
    for one in reversed(kept):
        counts[of(one)] += 1
        if counts[of(one)] <= most:
            found.append(one)
    return found[::-1]


def moment_from_plain(text: str) -> datetime:
    """Return a kept moment, in UTC.

    Raises:
        TypeError, ValueError: it is none, or has no time zone.
    """
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError(f"the moment {text} has no time zone")
    return at.astimezone(UTC)
