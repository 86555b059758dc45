"""What the air did: bounded series, frozen, with every doubtful value kept out.

A value is *taken* only when it can be: inside the quantity's physical range, and not
a jump that no air makes.  A jump is believed when the next value agrees with it, or
when three in a row lie far off on one side; until then it is a candidate.  What is
refused is remembered with its kind, for the fault rules; it never enters a series.
"""

import math
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from operator import itemgetter
from typing import Any, Literal

from cabinvigil.daemon.core.dose import Dose
from cabinvigil.daemon.core.habit import NEW, Habit, learn
from cabinvigil.daemon.core.layout import Layout, SeriesSpec
from cabinvigil.daemon.core.model import EMPTY, Air, SourceFault

KEPT_MINUTES = 490
"""Eight hours of minute means and a little more: the longest mean of any limit."""

DOUBT_GAP_S = 120.0
"""Doubt goes on over so long a silence: two of the slowest ticks, of a minute each, may
lie a little further apart where one comes late."""
_VALUE = itemgetter(1)

UNDOSED = Dose()
"""A sleeper who comes from clean air."""

Side = Literal["below", "above"]


@dataclass(frozen=True, slots=True)
class Refused:
    """A value that was not taken."""

    kind: Literal["range", "jump"]
    value: float
    at_s: float
    first_s: float
    """When this run of refusals of one kind, to one side, began."""
    count: int
    """Refusals in this run."""


@dataclass(frozen=True, slots=True)
class Series:
    """The bounded past of one series."""

    value: float = math.nan
    at_s: float = -math.inf
    """When the last value was taken."""
    doubtful: bool = False
    """The last value may raise an alarm and never clears one."""
    doubtful_s: float = math.inf
    """Since when its values have been doubtful without a break; inf: they are not."""
    at_least: bool = False
    """The last value is a lower bound."""
    changed_s: float = -math.inf
    """When the value last differed from the one before."""
    repeats: int = 0
    """So many readings in a row have given the value before."""
    refused: Refused | None = None
    minute: int = -1
    """The minute being gathered: floor(now / 60)."""
    total: float = 0.0
    count: int = 0
    minutes: tuple[tuple[float, float], ...] = ()
    """Closed minutes as (middle of the minute in s, mean), oldest first."""
    habit: Habit = NEW
    """How it has behaved, where nobody says which part gives it."""

    def with_doubt(self, spec: SeriesSpec, since: "Series") -> "Series":
        """Return it with its last value doubtful; `since` is what came before it."""
        doubtful_s = since.doubted_from_s(spec, self.at_s)
        return replace(self, doubtful=True, doubtful_s=doubtful_s)

    def doubted_from_s(self, spec: SeriesSpec, at_s: float) -> float:
        """Return since when its values are doubtful, where one of now is."""
        gap_s = max(spec.max_age_s, DOUBT_GAP_S)
        goes_on = self.doubtful and at_s - self.at_s <= gap_s
        return self.doubtful_s if goes_on else at_s


def closed_minutes(series: Series) -> tuple[tuple[float, float], ...]:
    """Return the minutes of a series with the one being gathered closed."""
    if not series.count:
        return series.minutes
    closed = (series.minute * 60.0 + 30.0, series.total / series.count)
    return (*series.minutes[-(KEPT_MINUTES - 1) :], closed)


def _same_side(series: Series, run: Refused, value: float) -> bool:
    """Return whether two refused values lie on one side of the last one taken."""
    return (value > series.value) == (run.value > series.value)


def _refuse(
    series: Series, kind: Literal["range", "jump"], value: float, now: float
) -> Series:
    run = series.refused
    if run is not None and run.kind == kind and _same_side(series, run, value):
        refused = Refused(kind, value, now, run.first_s, run.count + 1)
    else:
        refused = Refused(kind, value, now, now, 1)
    return replace(series, refused=refused)


RUN_BELIEVED = 2
"""After so many jumps in a row to one side, the next on that side is the air: it may
move faster than any single step is believed, and must not be lost for it."""


def _is_jump(spec: SeriesSpec, series: Series, value: float, now: float) -> bool:
    """Return whether a value fits neither the last one taken nor the one refused."""
    gap_s = now - series.at_s
    is_fresh = gap_s <= spec.max_age_s
    if is_fresh and abs(value - series.value) <= spec.jump_per_s * max(gap_s, 1.0):
        return False
    herald = series.refused
    if herald is None or herald.kind != "jump" or now - herald.at_s > spec.max_age_s:
        return is_fresh  # with nothing fresh there is nothing to jump from
    near_s = max(now - herald.at_s, 1.0)
    if abs(value - herald.value) <= spec.jump_per_s * near_s:
        return False  # the second in a row that says the same
    return herald.count < RUN_BELIEVED or not _same_side(series, herald, value)


def take(
    spec: SeriesSpec,
    series: Series,
    value: float,
    now: float,
    *,
    doubtful: bool = False,
    at_least: bool = False,
) -> Series:
    """Take one value, or refuse it and remember why."""
    if not spec.low <= value <= spec.high:  # NaN fails both
        return _refuse(series, "range", value, now)
    if _is_jump(spec, series, value, now):
        return _refuse(series, "jump", value, now)
    minute = int(now // 60.0)
    minutes, total, count = series.minutes, series.total, series.count
    if minute != series.minute:
        minutes, total, count = closed_minutes(series), 0.0, 0
    if not (doubtful and now - series.doubted_from_s(spec, now) < spec.made_up_s):
        total, count = total + value, count + 1  # the air's, as far as is known
    taken = Series(
        value,
        now,
        at_least=at_least or (value >= spec.top and spec.is_at_least_at_top),
        changed_s=series.changed_s if value == series.value else now,
        repeats=series.repeats + 1 if value == series.value else 0,
        minute=minute,
        total=total,
        count=count,
        minutes=minutes,
        habit=series.habit if spec.resolution > 0.0 else learn(series.habit, value),
    )
    return taken.with_doubt(spec, series) if doubtful else taken


def flickers(spec: SeriesSpec, series: Series) -> bool:
    """Return whether it would give another value at nearly every reading, if it lived.

    By its part's figures, or, where nobody says which part it was, by its own past.
    """
    value = series.value
    if spec.resolution > 0.0:
        return spec.flickers(value)
    if not series.habit.flickers or spec.rests(value):
        return False
    return spec.moves_above == math.inf or value > spec.moves_above


def still_s(
    layout: Layout, series: Mapping[str, Series], key: str, now: float
) -> tuple[float, SeriesSpec, Series]:
    """Return how long a series has stood, by what shows whether its part lives.

    Returns:
        Seconds without the least change; the series that shows it, and its spec.
    """
    signal = layout.signals.get(key, key)
    if now - series[signal].at_s > layout.series[signal].max_age_s:
        signal = key
    shown = series[signal]
    return now - shown.changed_s, layout.series[signal], shown


STILL_REPEATS = 5
"""However slowly readings come, so many repeats are seen before one that stands is in
doubt: a living part gives them once in some thousand readings, and with one a minute
they fill the five minutes of the all-clear (our choice)."""


def stands_still(
    layout: Layout, series: Mapping[str, Series], key: str, now: float
) -> bool:
    """Return whether a value stands where a living part's would flicker."""
    since_s, spec, shown = still_s(layout, series, key, now)
    lives = shown.at_least or not flickers(spec, shown)
    return not lives and since_s > spec.still_s and shown.repeats >= STILL_REPEATS


@dataclass(frozen=True, slots=True)
class History:
    """All that the rules may look at."""

    layout: Layout
    started_s: float
    now: float
    """When it is judged: at a tick, or between two."""
    series: Mapping[str, Series]
    sources: Mapping[str, SourceFault] = field(default_factory=lambda: EMPTY)
    """Sources with a fault now, by name."""
    dose: Dose = UNDOSED
    """What a sleeper has breathed of the worst CO measured."""
    trend: Any = None
    """The trend's estimate, or None."""
    ticked_s: float = -math.inf
    """When readings last could come: what is judged between two slow ticks has seen no
    silence since.  -inf: not yet."""

    def with_fault(self, fault: SourceFault) -> "History":
        """Return what is known once a source has told a fault."""
        return replace(self, sources={**self.sources, fault.source: fault})

    def without_fault(self, source: str) -> "History":
        """Return what is known once the fault of a source is over."""
        left = {name: one for name, one in self.sources.items() if name != source}
        return replace(self, sources=left)

    def fresh(self, key: str) -> Series | None:
        """Return a series whose last value is not stale, else None."""
        series = self.series.get(key)
        if series is None or self.age_s(key) > self.layout.series[key].max_age_s:
            return None
        return series

    def age_s(self, key: str) -> float:
        """Return how long a series had given nothing at the last tick."""
        return self.last_tick_s - self.series[key].at_s

    @property
    def last_tick_s(self) -> float:
        """When readings last could come; now, where there was no tick yet."""
        return self.now if self.ticked_s == -math.inf else self.ticked_s

    def value(self, key: str) -> float | None:
        """Return the fresh value of a series, doubtful ones too, else None."""
        series = self.fresh(key)
        return None if series is None else series.value

    def worst(
        self, quantity: str, side: Side, place: str | None = None
    ) -> tuple[str, Series] | None:
        """Return the fresh series with the worst value, of all that measure it."""
        found: tuple[str, Series] | None = None
        for key in self.layout.index(quantity, place):
            series = self.fresh(key)
            if series is None:
                continue
            if found is None or (
                series.value < found[1].value
                if side == "below"
                else series.value > found[1].value
            ):
                found = (key, series)
        return found

    def stands_still(self, key: str) -> bool:
        """Return whether a value stands where a living part's would flicker."""
        return stands_still(self.layout, self.series, key, self.now)

    def is_trusted(self, key: str) -> bool:
        """Return whether a series is fresh, and its part in a state to be believed."""
        return self.is_heard(key) and not self.series[key].at_least

    def is_heard(self, key: str) -> bool:
        """Return whether a series' last value is known to be so still."""
        series = self.fresh(key)
        if series is None or series.doubtful:
            return False
        return self.layout.series[key].part not in self.sources

    def is_watched(self, quantity: str, but: str = "", doubt_s: float = 0.0) -> bool:
        """Return whether a trusted series gives a quantity, where people breathe.

        Args:
            quantity: a key of `QUANTITIES`.
            but: a series that does not count.
            doubt_s: one that has been doubtful for no longer counts as trusted.
        """
        return any(
            self.is_trusted(key) or self._is_doubtful_for(key, doubt_s)
            for key in self.layout.index(quantity)
            if key != but
        )

    def _is_doubtful_for(self, key: str, most_s: float) -> bool:
        """Return whether nothing but a short doubt speaks against a series."""
        series = self.fresh(key)
        if series is None or not series.doubtful or series.at_least:
            return False
        is_short = self.now - series.doubtful_s < most_s
        return is_short and self.layout.series[key].part not in self.sources

    def unseen_s(self, quantity: str, place: str | None = None) -> float:
        """Return how long no series has given a quantity; infinity where none can.

        Counted from the start at the earliest: a part needs time to speak.
        """
        last_s = [self.series[key].at_s for key in self.layout.index(quantity, place)]
        if not last_s:
            return math.inf
        return self.now - max(*last_s, self.started_s)

    def mean(self, key: str, over_s: float, before: float) -> float | None:
        """Return the mean of the last `over_s` seconds, by minutes.

        Args:
            key: the series.
            over_s: length of the window.
            before: what is assumed for the part of the window before the first
                value was ever taken (outdoor air, for a limit on a working shift).

        Returns:
            None where no whole minute of the window is known.
        """
        series = self.series.get(key)
        if series is None or not series.minutes:
            return None
        minutes = series.minutes
        inside = minutes[bisect_left(minutes, (self.now - over_s,)) :]
        if not inside:
            return None
        known_s = min(over_s, self.now - (minutes[0][0] - 30.0))
        mean: float = math.fsum(map(_VALUE, inside)) / len(inside)
        return (mean * known_s + before * (over_s - known_s)) / over_s


def begin(layout: Layout, now: float) -> History:
    """Start with nothing known."""
    return History(layout, now, now, {key: Series() for key in layout.series})


def breathe(history: History, air: Air, now: float) -> Mapping[str, Series]:
    """Take one tick's values into the series; unknown keys are passed over."""
    layout, before = history.layout, history.series
    series = dict(before)
    for key, value in air.values.items():
        spec = layout.series.get(key)
        if spec is not None:
            series[key] = take(
                spec,
                series[key],
                value,
                now,
                doubtful=key in air.doubtful,
                at_least=key in air.at_least,
            )
    for key in air.values.keys() & layout.series.keys():
        is_new = series[key].at_s == now and not series[key].doubtful
        if is_new and stands_still(layout, series, key, now):
            # It lives no more: it may raise an alarm, and clears none.
            series[key] = series[key].with_doubt(layout.series[key], before[key])
    return series


def o2_facts(history: History) -> dict[str, float | str]:
    """Return O2 now and how fast it moves, as far as it is known."""
    facts: dict[str, float | str] = {}
    worst = history.worst("o2_pct", "below")
    if worst is not None:
        facts["o2_pct"] = worst[1].value
    trend = history.trend
    if trend is not None:
        facts["rate_pct_per_h"] = trend.o2_rate_pct_per_h[1]
    return facts


def place_of(history: History, key: str) -> str:
    """Name the part that gave a series, for people."""
    spec = history.layout.series.get(key)
    return key if spec is None else spec.title
