"""Picks the runs of one night out of the files that may hold some of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, tzinfo
from itertools import pairwise
from typing import NamedTuple

from cabinvigil.daemon.log.periods import (
    LONGEST_BREAK_S,
    LONGEST_NIGHT_S,
    Period,
    nights,
)
from cabinvigil.daemon.log.run import Run

UNKNOWN_PAUSE_S = 600.0
"""Between runs whose distance nobody knows."""


@dataclass(frozen=True, slots=True)
class Pick:
    """Which night is meant."""

    night: date | None = None
    """By the date of its evening; None is the last."""


class Picked(NamedTuple):
    """The runs of a night, each cut to it."""

    night: date | None
    """None where no clock tells."""
    runs: Sequence[Run]


def picked(runs: Sequence[Run], pick: Pick, zone: tzinfo | None) -> Picked:
    """Pick the runs of a night.

    Args:
        runs: of the files, in their order.
        pick: which night.
        zone: of the noons; None is the machine's own.
    """
    bases = _bases(runs)
    if bases is None:
        return Picked(None, _last_ones(runs))
    runs = [
        replace(run, believed_s=base) for run, base in zip(runs, bases, strict=True)
    ]
    periods = [
        Period(base + run.begin_s, base + run.end_s)
        for run, base in zip(runs, bases, strict=True)
    ]
    found = list(nights(periods, zone))
    night = pick.night or _night_of_last(runs, periods, found)
    kept = [
        cut
        for run, base in zip(runs, bases, strict=True)
        for one, period in found
        if one == night and (cut := _cut(run, base, period)) is not None
    ]
    return Picked(night, kept)


def _night_of_last(
    runs: Sequence[Run], periods: Sequence[Period], found: Sequence[tuple[date, Period]]
) -> date | None:
    """Return the night of the last run that tells more than its start."""
    ends = [n for n, run in enumerate(runs) if run.is_told]
    if not ends:
        return None
    end_s = periods[ends[-1]].to_s
    return next(
        (night for night, one in reversed(found) if one.from_s <= end_s <= one.to_s),
        None,
    )


def _cut(run: Run, base: float, period: Period) -> Run | None:
    """Return what a run told in a stretch of time; None: nothing."""
    from_s, to_s = period.from_s - base, period.to_s - base
    if from_s <= run.begin_s and run.end_s <= to_s:
        return run
    if to_s <= run.begin_s or run.end_s <= from_s:
        return None
    return run.between(from_s, to_s)


def _bases(runs: Sequence[Run]) -> list[float] | None:
    """Return the moment of each run's own zero; None where no clock tells of any.

    A run without a clock lies before the next that has one: the network set it then.
    """
    told = [run.believed_s for run in runs]
    for n in _late(runs):
        told[n] = None
    if all(base is None for base in told):
        return None
    bases = list(_from_before(runs, told))
    next_s: float | None = None
    for n in reversed(range(len(runs))):
        if told[n] is None and next_s is None:
            continue  # nor did any later one: it follows what came before
        if told[n] is None and next_s is not None:
            is_one = n + 1 < len(runs) and runs[n + 1].goes_on
            before_s = next_s - UNKNOWN_PAUSE_S - runs[n].end_s
            bases[n] = bases[n + 1] if is_one else before_s
        next_s = bases[n] + runs[n].begin_s
    return bases


def _late(runs: Sequence[Run]) -> Iterator[int]:
    """Give the runs whose clock was hours late, though they never learnt it.

    The next one found it so, and had begun by the clock that these ended with: either
    nobody watched for so long, or it was late before; then they are of that night.
    """
    is_late, after = False, range(0)
    for one in reversed(list(_processes(runs))):
        if after:
            set_s = max(runs[n].set_by_s for n in after)
            is_late = is_late or set_s > LONGEST_BREAK_S
            first = runs[after[0]]
            is_late = is_late and first.began_unset and first.first_s is not None
            is_late = is_late and runs[one[0]].began_unset
            is_late = is_late and not any(runs[n].clock_steps for n in one)
            yield from one if is_late else ()
        after = one


def _processes(runs: Sequence[Run]) -> Iterator[range]:
    """Give the places of the runs that are one process, read anew or not."""
    starts = [n for n, run in enumerate(runs) if n == 0 or not run.goes_on]
    for first, last in pairwise([*starts, len(runs)]):
        yield range(first, last)


def _from_before(runs: Sequence[Run], told: Sequence[float | None]) -> Iterator[float]:
    ends_s = known = 0.0
    for run, base in zip(runs, told, strict=True):
        after_s = known if run.goes_on else ends_s + UNKNOWN_PAUSE_S - run.begin_s
        known = after_s if base is None else base
        ends_s = known + run.end_s
        yield known


def _last_ones(runs: Sequence[Run]) -> list[Run]:
    """Return the last runs that together are no longer than a night.

    Without any clock nobody knows how far they lie apart.
    """
    kept: list[Run] = []
    length_s = 0.0
    for run in reversed(runs):
        length_s += run.end_s - run.begin_s
        if kept and length_s > LONGEST_NIGHT_S:
            break
        kept.insert(0, run)
    return kept
