"""One figure of ours held against one that others published.

Each check names a source that none of us wrote.  The tolerance is argued from that
source's own error, its rounding, or what it leaves out, never from our miss.
`[memory]` marks figures that were recalled, not read.

A figure that lies outside, and stays there, is kept with its `miss`: the side it is on,
which is the safe one, and why.  Such a check must miss, to that side: when it holds
again, its excuse goes.
"""

from dataclasses import dataclass
from typing import Literal

from tests.air.published import rows

L_S_0C = 8.314462618 * 273.15 / 101.325


@dataclass(frozen=True)
class Check:
    """One figure held against one source."""

    quantity: str
    source: str
    published: float
    ours: float
    tolerance: float
    """In the figure's own unit."""
    why: str
    """Where the tolerance comes from."""
    miss: Literal["", "above", "below"] = ""
    """The safe side on which ours lies beyond the tolerance; '' where it must hold."""
    excuse: str = ""
    """Why it is left there."""

    def __str__(self) -> str:
        return f"{self.quantity}, {self.source}"

    @property
    def difference(self) -> float:
        return self.ours - self.published

    @property
    def holds(self) -> bool:
        return abs(self.difference) <= self.tolerance

    @property
    def is_as_told(self) -> bool:
        """It holds; or it misses to the side that is told, and says why."""
        if not self.miss:
            return self.holds
        is_above = self.difference > 0
        return (
            not self.holds and is_above is (self.miss == "above") and bool(self.excuse)
        )


def share(quantity, source, published, ours, relative, why) -> Check:
    return Check(quantity, source, published, ours, abs(published) * relative, why)


def between(quantity, source, low, high, ours, why) -> Check:
    """Ours inside a range that others published."""
    return Check(quantity, source, (low + high) / 2, ours, (high - low) / 2, why)


def inside_ours(quantity, source, published, low, high, why) -> Check:
    """A figure of others inside a range of ours; ours is the nearest that we give."""
    return Check(quantity, source, published, min(max(published, low), high), 1e-9, why)


def row(key, **match):
    return next(r for r in rows(key) if all(r.get(k) == v for k, v in match.items()))
