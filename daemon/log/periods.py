"""Which runs make one night: by what was watched, not by the date of a file.

What was watched without a long pause is one period.  One that is no longer than a night
belongs to one night, wherever noon falls in it: a clock on UTC, or the zone of another
continent, cuts nobody's sleep in two.  A longer one, of a monitor that runs day and
night, is cut at each noon.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import NamedTuple

from cabinvigil.daemon.log.folder import night_of

LONGEST_NIGHT_S = 20 * 3600.0
"""Nobody sleeps longer, early bed and late rising on a winter's day included (own
choice)."""
LONGEST_BREAK_S = 2 * 3600.0
"""A monitor that was off for longer was put out in between (our choice)."""


SLACK_S = 60.0
"""A clock that was set back by less between two runs is the same clock."""


class Period(NamedTuple):
    """A stretch of time, in seconds of the epoch."""

    from_s: float
    to_s: float


def periods_of(runs: Iterable[Period]) -> Iterator[Period]:
    """Join runs to periods: those with no long break between them.

    Args:
        runs: in their order; one that begins before the last has ended had another
            clock, and is a period by itself.
    """
    whole: Period | None = None
    for run in runs:
        if whole is not None and -SLACK_S <= run.from_s - whole.to_s <= LONGEST_BREAK_S:
            whole = Period(whole.from_s, max(whole.to_s, run.to_s))
            continue
        if whole is not None:
            yield whole
        whole = run
    if whole is not None:
        yield whole


def noon_s(night: date, zone: tzinfo | None) -> float:
    """Return the noon at which a night begins, in seconds of the epoch."""
    return datetime.combine(night, time(12), zone).timestamp()


def _night(at_s: float, zone: tzinfo | None) -> date:
    return night_of(datetime.fromtimestamp(at_s, UTC), zone)


def nights(
    runs: Sequence[Period], zone: tzinfo | None
) -> Iterator[tuple[date, Period]]:
    """Report which night each period belongs to, in their order.

    Args:
        runs: in their order, by a clock that is believed.
        zone: of the noons; None is the machine's own.
    """
    for period in periods_of(runs):
        length_s = period.to_s - period.from_s
        if length_s <= LONGEST_NIGHT_S:
            yield _night(period.from_s + length_s / 2.0, zone), period
            continue
        from_s = period.from_s
        while from_s < period.to_s:
            night = _night(from_s, zone)
            to_s = min(noon_s(night + timedelta(days=1), zone), period.to_s)
            yield night, Period(from_s, to_s)
            from_s = to_s
