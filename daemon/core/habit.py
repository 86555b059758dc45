"""How a series has behaved, where nobody says which part gave it.

A recording names no part, so that noise and step of a column are learnt from the
column itself: by how values lie to and fro of the line through those before them, and
by the smallest change seen.  One that flickered and then stands has died.
"""

import math
from dataclasses import dataclass, replace

FOLLOW = 1.0 / 50.0
"""Share by which what is learnt follows each new value."""
LEAST_COUNT = 60
"""So many values are seen before anything is said of a column."""
LEAST_SHARE = 0.3
"""So many of its values differ from the one before: a part that repeats each value, or
a file that does, need not flicker."""
STANDS_FROM = 5
"""From so many equal values on nothing is learnt: what stands must not teach that
standing is usual."""
WILDEST = 3.0
"""Standard deviations beyond which a step off the line widens the noise no further: a
door that is opened is no noise (Huber's clipping, unverified)."""
TO_AND_FRO = 4.0
"""Noise of 1 makes two values in a row lie off the line through the two before each by
so much, with opposite signs; a curve makes them lie to one side (white noise, from its
second differences)."""


@dataclass(frozen=True, slots=True)
class Habit:
    """What was learnt of one column."""

    last: float = math.nan
    before: float = math.nan
    off: float = math.nan
    """How far the last lay off the line through the two before it."""
    equal: int = 0
    """Values in a row that are the same."""
    count: int = 0
    """Values that taught something."""
    step: float = math.inf
    """Smallest change seen."""
    square: float = 0.0
    """Of the noise."""
    share: float = 0.0
    """Of values that differ from the one before."""

    @property
    def flickers(self) -> bool:
        """Return whether it has given another value at nearly every reading."""
        return (
            self.count >= LEAST_COUNT
            and self.share >= LEAST_SHARE
            and math.sqrt(self.square) >= self.step
        )


NEW = Habit()


def learn(habit: Habit, value: float) -> Habit:
    """Learn from one value; what stands still teaches nothing before it moves again."""
    is_same = value == habit.last
    equal = habit.equal + 1 if is_same else 0
    if equal >= STANDS_FROM:
        return replace(habit, before=habit.last, off=0.0, equal=equal)
    step, square, share = habit.step, habit.square, habit.share
    if not is_same and not math.isnan(habit.last):
        step = min(step, abs(value - habit.last))
        if habit.equal >= STANDS_FROM:
            share *= (1.0 - FOLLOW) ** habit.equal  # it lived, and stood all the same
    off = value - 2.0 * habit.last + habit.before
    if step < math.inf and not math.isnan(off * habit.off):
        most = (WILDEST * max(math.sqrt(square), 0.5 * step)) ** 2
        noise = min(max(-off * habit.off / TO_AND_FRO, -most), most)
        square = max(square + FOLLOW * (noise - square), 0.0)
    share += FOLLOW * ((not is_same) - share)
    count = habit.count + 1
    return Habit(value, habit.last, off, equal, count, step, square, share)
