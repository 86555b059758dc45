"""Picks the runs of one night out of the files that may hold some of it."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, tzinfo
from itertools import pairwise
from typing import NamedTuple

from cabinvigil.daemon.clock import EARLIEST
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
    zone: tzinfo | None = None
    """Of the noons, where the log names none that this machine knows."""


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
    told = _told(runs)
    dated = [n for n, base in enumerate(told) if base is not None]
    if not dated:
        return Picked(None, _last_ones(runs))
    rest = dated[-1] + 1  # from here on no clock tells
    if _is_apart(runs[rest - 1], runs[rest:]):
        if pick.night is None or pick.night < EARLIEST.date():
            return Picked(None, _last_ones(runs[rest:]))
        runs, told = runs[:rest], told[:rest]
    bases = _bases(runs, told)
    runs = [
        replace(run, believed_s=base) for run, base in zip(runs, bases, strict=True)
    ]
    periods = [
        Period(base + run.begin_s, base + run.end_s)
        for run, base in zip(runs, bases, strict=True)
    ]
    found = list(nights(periods, zone))
    ends = [n for n, run in enumerate(runs) if run.is_told]
    night = pick.night
    if night is None and ends:
        is_dated = ends[-1] < rest
        at_s = periods[ends[-1]].to_s if is_dated else periods[rest].from_s
        night = _night_at(at_s, found)
    kept = [
        cut
        for run, base in zip(runs[:rest], bases, strict=False)
        for one, period in found
        if one == night and (cut := _cut(run, base, period)) is not None
    ]
    if runs[rest:] and night == _night_at(periods[rest].from_s, found):
        kept += runs[rest:]  # no noon cuts them: nobody knows where it lies
    return Picked(night, kept)


def _is_apart(before: Run, rest: Sequence[Run]) -> bool:
    """Say whether the last runs, which no clock dates, are no part of a night before.

    The monitor was put out in order before them, or they are longer than any night.
    After a power cut they may well be of the same night, and it is told whole.
    """
    if not rest:
        return False
    length_s = math.fsum(run.end_s - run.begin_s for run in rest)
    ended = [one.kind for one in before.events][-1:] == ["stop"]
    return ended or length_s > LONGEST_NIGHT_S


def _night_at(at_s: float, found: Sequence[tuple[date, Period]]) -> date | None:
    """Return the night of a moment."""
    return next(
        (night for night, one in reversed(found) if one.from_s <= at_s <= one.to_s),
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


def _told(runs: Sequence[Run]) -> list[float | None]:
    """Return the moment of each run's own zero; None where no clock is believed."""
    told = [run.believed_s for run in runs]
    for n in _late(runs):
        told[n] = None
    return told


def _bases(runs: Sequence[Run], told: Sequence[float | None]) -> list[float]:
    """Return the moment of each run's own zero, of which a clock tells at least one.

    A run without a clock lies before the next that has one: the network set it then.
    """
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
    """Yield the runs whose clock was hours late, though they never learnt it.

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
    """Yield the places of the runs that are one process, read again or not."""
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
