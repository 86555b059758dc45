"""One figure of ours held against one that others published.

Each check names a source that none of us wrote.  The tolerance is argued from that
source's own error, its rounding, or what it leaves out, never from our miss.
`[memory]` marks figures that were recalled, not read.
"""

from dataclasses import dataclass

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

    @property
    def difference(self) -> float:
        return self.ours - self.published

    @property
    def holds(self) -> bool:
        return abs(self.difference) <= self.tolerance


def share(quantity, source, published, ours, relative, why) -> Check:
    return Check(quantity, source, published, ours, abs(published) * relative, why)


def row(key, **match):
    return next(r for r in rows(key) if all(r.get(k) == v for k, v in match.items()))
