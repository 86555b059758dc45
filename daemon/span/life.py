"""How long a cell will last, by what its spans say: its signal falls as it is used up.

Pure.  A cell's signal is compared for each hPa of oxygen, or for its share where it
senses that, so that weather and height do not pass for age.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import combinations
from statistics import median

from cabinvigil.daemon.span.kept import Span
from cabinvigil.daemon.text.durations import months
from cabinvigil.drivers.kit.galvanic import WORN_SHARE

LEAST_APART = timedelta(days=30)
"""Spans nearer than this tell more of the weather than of age (our choice)."""
CELLS = frozenset(
    {"o2_amplified_ads1115", "o2_cell_ads1115", "o2_key_register", "frame9_o2"}
)
"""Kinds whose signal in fresh air falls with age; a CO cell's is nothing in clean air,
so its spans say nothing of its life."""


@dataclass(frozen=True, slots=True)
class Life:
    """What the spans of one cell say of its end."""

    share: float
    """Its signal now, of that at its first span."""
    ends: datetime | None
    """When it is worn out at the usual pace; None: it does not fall."""
    soonest: datetime | None
    """The same at the fastest pace between any two of its spans."""
    spans: int
    over: timedelta


def life(spans: Sequence[Span]) -> Life | None:
    """Return what a cell's spans say, the oldest first; None where they say nothing.

    The pace is the middle one of all pairs of spans that lie far enough apart, so
    that one bad span does not rule it.
    """
    known = [
        (span.at, value)
        for span in spans
        if span.kind in CELLS and (value := span.sensitivity) is not None
    ]
    if not known or known[0][1] <= 0.0:
        return None
    first_at, first = known[0]
    shares = [(at, value / first) for at, value in known]
    last_at, share = shares[-1]
    paces = [
        (after - before) / (at - since).total_seconds()
        for (since, before), (at, after) in combinations(shares, 2)
        if at - since >= LEAST_APART
    ]
    if not paces:
        return None
    return Life(
        share,
        _end(last_at, share, median(paces)),
        _end(last_at, share, min(paces)),
        len(known),
        last_at - first_at,
    )


def _end(at: datetime, share: float, pace_per_s: float) -> datetime | None:
    """Return when the share is that of a worn-out cell; None where it never will be."""
    if share <= WORN_SHARE:
        return at
    if pace_per_s >= 0.0:
        return None
    left_s = (share - WORN_SHARE) / -pace_per_s
    if left_s > timedelta(days=36525).total_seconds():
        return None
    return at + timedelta(seconds=left_s)


def life_words(found: Life, now: datetime) -> str:
    """Say a cell's life in one clause."""
    seen = f"{found.share:.0%} of its first signal after {_months(found.over)}"
    if found.ends is None:
        return f"{seen}: no decline seen"
    if found.ends <= now:
        return f"{seen}: worn out, replace it"
    left = _months(found.ends - now)
    if found.soonest is not None and found.soonest < found.ends:
        soonest = max(found.soonest - now, timedelta())
        return f"{seen}: about {left} left, {_months(soonest)} at its fastest pace"
    return f"{seen}: about {left} left"


def _months(span: timedelta) -> str:
    return months(span.total_seconds())
