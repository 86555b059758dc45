"""What a night's log holds, in even steps: small enough to keep, quick to look at."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

from cabinvigil.daemon.log.reader import Flaws
from cabinvigil.daemon.log.trial_span import TrialSpan
from cabinvigil.drivers.kit.quantity import is_breathed, split_channel

STEP_S = 30.0
"""The even step: short beside what a sleeper breathes, long beside a part's noise."""

GOES_ON = timedelta(minutes=15)
"""A log whose last line is younger may well go on (our choice: three ticks and batches
of the slowest watch)."""
Told = float | None


ABOUT_PARTS = ("sensor", "watch", "gases-", "supply")
"""How the alarms begin that judge the parts or the monitor, and not the air."""


STANDING = ("unacknowledged", "acknowledged")
"""The words of the states in which an alarm's condition stands (core's `IN_ALARM`)."""


def is_about_air(alarm: str) -> bool:
    """Return whether an alarm judges the air, and not a part or the monitor."""
    return not alarm.startswith(ABOUT_PARTS)


class Event(NamedTuple):
    """Something that happened."""

    at_s: float
    """Since the night's origin."""
    kind: str
    """`start alarm fault act mark bump-test trial stop`."""
    fields: Mapping[str, Any]


class Gap(NamedTuple):
    """A stretch of which nothing is known."""

    from_s: float
    to_s: float

    @property
    def length_s(self) -> float:
        """How long it is."""
        return self.to_s - self.from_s


@dataclass(frozen=True, slots=True)
class NightSeries:
    """One night, read."""

    origin: datetime | None
    """The moment of `at_s` 0; None where no clock could be believed."""
    count: int
    """Steps in the night."""
    series: Mapping[str, Sequence[Told]]
    """By series, a value a step; None where nothing was told."""
    at_least: Mapping[str, frozenset[int]]
    """Steps in which the part was at full scale: the air was this or more."""
    doubtful_s: Mapping[str, float]
    """How long each series was in doubt, and left out of the account."""
    refused: Mapping[str, int]
    """Values of each series that no air can have."""
    gaps: Sequence[Gap]
    events: Sequence[Event]
    estimates: Sequence[Event]
    """What the trend said, about once a minute."""
    starts: int
    """Runs of the daemon in this night."""
    clock_steps: Sequence[Event]
    """Jumps of the wall clock, fixed; `moved_s` in the fields."""
    head: Mapping[str, Any]
    """The last start record; empty where none could be read."""
    flaws: Flaws
    notes: Sequence[str] = field(default_factory=tuple)
    """What a reader should know of how the night was put together."""
    night: date | None = None
    """By the date of its evening, where it was picked by that or as the last."""
    missing: Sequence[str] = ()
    """What of this night, or of a later one, is not there: a clause each."""
    trials: Sequence[TrialSpan] = ()
    """What was tried, with nobody inside; times since the night's origin."""
    left_out: frozenset[int] = frozenset()
    """Steps of them: nobody breathed their air, and nothing here tells of it."""
    is_cut_off: bool = False
    """Its last run ended without a word: what came after it, nobody watched."""

    @property
    def damaged(self) -> list[str]:
        """What of its files could not be read, a clause each."""
        flaws, found = self.flaws, []
        if flaws.unreadable:
            one = flaws.unreadable == 1
            lines = "1 line" if one else f"{flaws.unreadable} lines"
            found.append(f"{lines} of the log could not be read")
        if flaws.damaged:
            one = flaws.damaged == 1
            found.append(
                "1 stretch of the log is damaged"
                if one
                else f"{flaws.damaged} stretches of the log are damaged"
            )
        if flaws.lost:
            what = "a stretch" if flaws.lost == 1 else f"{flaws.lost} stretches"
            found.append(f"{what} of the log had been lost before `log mend`")
        return found

    def ends_in_silence(self, wall: datetime) -> bool:
        """Return whether the last run neither stopped in order nor goes on.

        Args:
            wall: the present moment, by which a log that grows is known.
        """
        ends = [one.kind for one in self.events if one.kind in ("start", "stop")]
        end = self.moment(self.length_s)
        is_open = ends[-1:] != ["stop"]
        return is_open and end is not None and wall - end > GOES_ON

    @property
    def length_s(self) -> float:
        """From the first step to the end of the last."""
        return self.count * STEP_S

    @property
    def slept_s(self) -> float:
        """Its length without the trials."""
        return self.length_s - len(self.left_out) * STEP_S

    @property
    def config(self) -> Mapping[str, Any]:
        """What ran; empty where it is not known."""
        config = self.head.get("config")
        return config if isinstance(config, Mapping) else {}

    def moment(self, at_s: float) -> datetime | None:
        """Return the moment of the night, UTC."""
        if self.origin is None:
            return None
        return datetime.fromtimestamp(self.origin.timestamp() + at_s, UTC)

    def keys(self, quantity: str, place: str | None = None) -> list[str]:
        """List the series of a quantity.

        Args:
            quantity: its name.
            place: where; '' the bunk, None wherever people breathe.
        """
        found = []
        for key in self.series:
            parts = split_channel(key)
            if parts is None or parts[0].name != quantity:
                continue
            if place == parts[1] or (place is None and is_breathed(key)):
                found.append(key)
        return found

    def worst(self, quantity: str, side: str, place: str | None = None) -> list[Told]:
        """Return the worst value of all that measure a quantity, step by step.

        Args:
            quantity: its name.
            side: `below`, where little is bad, or `above`.
            place: as for `keys`.
        """
        columns = [self.series[key] for key in self.keys(quantity, place)]
        if len(columns) == 1:
            return list(columns[0])
        pick = min if side == "below" else max
        return [
            pick((one for one in values if one is not None), default=None)
            for values in zip(*columns, strict=True)
        ] or [None] * self.count

    def between(self, from_s: float, to_s: float) -> slice:
        """Return the steps of a stretch."""
        begin = max(0, round(from_s / STEP_S))
        return slice(begin, max(begin, min(self.count, round(to_s / STEP_S))))
