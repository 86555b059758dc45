"""One run of the daemon, gathered from its lines: half-minute means, and events."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any, NamedTuple

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.log.night import STEP_S
from cabinvigil.daemon.log.reader import CLOCK_STEP_S, moment
from cabinvigil.daemon.log.room import Room
from cabinvigil.daemon.log.trial_span import AIRED_S, TrialSpan, opened_trial
from cabinvigil.drivers.kit.quantity import Quantity, split_channel

QUIET_SPREAD: Mapping[str, float] = {
    "o2_pct": 0.5,
    "co_ppm": 20.0,
    "co2_ppm": 300.0,
    "temp_c": 1.0,
    "rh_pct": 4.0,
    "supply_v": 0.5,
    "pressure_hpa": 2.0,
}
"""Values of half a minute that spread wider may hold a wild one: their middle is taken
in place of their mean (our choice: several times any part's noise, sensors.md)."""

CONTACT = "contact"
"""What it told of at any moment of a half minute is kept: an alarm is not averaged."""
ANY_SPREAD = float("inf")
LATEST_S = datetime(2100, 1, 1, tzinfo=UTC).timestamp()
"""No clock that is right shows more, as long as this software lives."""
LONGEST_BUMP_S = 600.0
"""A bump test of a log lasts no longer, whatever the log says (our choice)."""


def bump_until_s(row: Mapping[str, Any]) -> float:
    """Return until when gas or breath may be held to the parts; long ago: it is not.

    Args:
        row: a line on a bump test, or a start, which at the top of a file tells of one.
    """
    for_s = row.get("bump_for_s")
    if row.get("state") == "begun":
        for_s = row.get("for_s")
    if not isinstance(for_s, int | float):
        return float("-inf")
    until_s: float = row["up_s"] + min(for_s, LONGEST_BUMP_S)
    return until_s


class UpEvent(NamedTuple):
    """An event at its run's own time."""

    up_s: float
    kind: str
    fields: Mapping[str, Any]


@dataclass(slots=True)
class Run:
    """What one run told."""

    begin_s: float
    """`up_s` of its first line."""
    end_s: float
    """`up_s` of its last line."""
    head: Mapping[str, Any]
    """Its start record."""
    offset_s: float | None = None
    """Wall clock less `up_s`, as last seen: once set, a clock is right."""
    believed_s: float | None = None
    """The same, of the last clock that can be right at all."""
    first_s: float | None = None
    """The same, of its first clock; None where that cannot be right."""
    goes_on: bool = False
    """Its time is that of the run before: the config was read again."""
    steps: dict[str, dict[int, float]] = field(default_factory=dict)
    """By series, means by step of `up_s`."""
    at_least: dict[str, set[int]] = field(default_factory=dict)
    doubtful: dict[str, set[int]] = field(default_factory=dict)
    alone: dict[str, set[int]] = field(default_factory=dict)
    """Steps that hold a single value: nothing agrees with it."""
    refused: dict[str, int] = field(default_factory=dict)
    heard: set[int] = field(default_factory=set)
    """Steps with any line of air."""
    events: list[UpEvent] = field(default_factory=list)
    estimates: list[UpEvent] = field(default_factory=list)
    clock_steps: list[UpEvent] = field(default_factory=list)
    room: Room = field(default_factory=Room)
    """What is left to keep more in: one for all runs of a night."""
    bump_until_s: float = float("-inf")
    """What the parts show until then is gas or breath that was held to them."""
    trials: list[TrialSpan] = field(default_factory=list)
    cut_s: tuple[float, float] | None = None
    """Of a trial that the run before was cut off in: when this one ended it, and how
    long nobody watched; None: there was none, or it is too long ago."""
    left_out: set[int] = field(default_factory=set)
    """Steps of a trial: nobody breathed their air."""

    @property
    def is_told(self) -> bool:
        """Whether it holds more than its start."""
        return bool(self.heard or self.events)

    @property
    def began_unset(self) -> bool:
        """Whether its clock was none that the network had set, as it began."""
        return self.head.get("clock_set") is False

    @property
    def set_by_s(self) -> float:
        """How far its clock was set forward in the run, at most."""
        return max((one.fields["moved_s"] for one in self.clock_steps), default=0.0)

    def see_bump_test(self, row: Mapping[str, Any]) -> None:
        """Note that gas or breath is held to the parts from here on, or no longer."""
        self.bump_until_s = bump_until_s(row)

    def see_trial(self, row: Mapping[str, Any]) -> None:
        """Note that a trial is open from here on, or none any longer."""
        opened, last = opened_trial(row), self.trials[-1] if self.trials else None
        if last is not None and row["up_s"] < last.to_s:
            self.trials[-1] = last.ended(row)
        if opened is not None:
            self.keep_trial(opened)
        elif last is None and row.get("why") == "restart":
            down_s = self.head.get("down_s")
            if isinstance(down_s, int | float) and 0.0 <= down_s <= AIRED_S:
                self.cut_s = row["up_s"], float(down_s)

    def see_in_trial(self, row: Mapping[str, Any]) -> None:
        """Note by any other line that the trial which is open is over."""
        last = self.trials[-1] if self.trials else None
        if last is None or last.why or not row["up_s"] < last.to_s:
            return
        if row["event"] == "air":
            self.trials[-1] = last.after_air(row)
        elif row["event"] == "act":
            self.trials[-1] = last.after_act(row)
        elif row["event"] == "start" and opened_trial(row) is None:
            self.trials[-1] = last._replace(to_s=row["up_s"], why="lost")

    def keep_trial(self, one: TrialSpan) -> None:
        """Keep a trial, where there is room."""
        if self.room.has_line({"text": one.text}):
            self.trials.append(one)

    def see_clock(self, row: Mapping[str, Any]) -> None:
        """Compare the wall clock with the run's own time."""
        wall = moment(row.get("t"))
        if wall is None:
            return
        offset_s = wall.timestamp() - row["up_s"]
        if self.offset_s is not None and abs(offset_s - self.offset_s) > CLOCK_STEP_S:
            fields = {"moved_s": offset_s - self.offset_s}
            self.keep(self.clock_steps, UpEvent(row["up_s"], "clock", fields))
        is_likely = EARLIEST.timestamp() < wall.timestamp() < LATEST_S
        if self.offset_s is None and is_likely:
            self.first_s = offset_s
        self.offset_s = offset_s
        if is_likely:
            self.believed_s = offset_s

    def between(self, from_s: float, to_s: float) -> "Run":
        """Return what it told from one moment of its own time to another."""
        first, last = step_of(from_s), step_of(to_s)

        def within(step: int) -> bool:
            return first <= step < last

        def some(events: list[UpEvent]) -> list[UpEvent]:
            return [one for one in events if from_s <= one.up_s < to_s]

        def steps(told: dict[str, set[int]]) -> dict[str, set[int]]:
            return {key: set(filter(within, each)) for key, each in told.items()}

        means = {
            key: {step: value for step, value in each.items() if within(step)}
            for key, each in self.steps.items()
        }
        return replace(
            self,
            begin_s=max(from_s, self.begin_s),
            end_s=min(to_s, self.end_s),
            steps={key: each for key, each in means.items() if each},
            at_least=steps(self.at_least),
            doubtful=steps(self.doubtful),
            alone=steps(self.alone),
            heard=set(filter(within, self.heard)),
            left_out=set(filter(within, self.left_out)),
            events=some(self.events),
            estimates=some(self.estimates),
            clock_steps=some(self.clock_steps),
            trials=list(self.trials),
        )

    def keep(self, where: list[UpEvent], event: UpEvent) -> None:
        """Keep an event, where there is room."""
        if self.room.has_line(event.fields):
            where.append(event)

    def add_step(self, step: int, rows: Sequence[Mapping[str, Any]]) -> None:
        """Take all the air of one step."""
        if step not in self.heard:
            if not self.room.has_values():
                return
            self.heard.add(step)
        keys: set[str] = set().union(*rows)
        if "doubtful" in keys or "at_least" in keys:
            rows = [self._without_doubt(step, row) for row in rows]
        for key in keys:
            quantity = key_quantity(key)
            if quantity is None or not self.room.has_series(key):
                continue
            if not self.room.has_values():
                return
            values = [row[key] for row in rows if key in row]
            if len(values) == 1:
                self.alone.setdefault(key, set()).add(step)
            try:
                low, high = min(values), max(values)
                if quantity.low <= low and high <= quantity.high:
                    spread = high - low
                    if quantity.name == CONTACT:
                        mean = high
                    elif spread <= QUIET_SPREAD.get(quantity.name, ANY_SPREAD):
                        mean = math.fsum(values) / len(values)
                    else:
                        mean = _middle(values)
                    self.steps.setdefault(key, {})[step] = mean
                    continue
            except (TypeError, ValueError):
                pass  # a text among them, or none at all: look at each
            self._look_at_each(step, key, quantity, values)

    def _look_at_each(
        self, step: int, key: str, quantity: Quantity, values: list[Any]
    ) -> None:
        fit = [one for one in values if _fits(quantity, one)]
        if len(fit) < len(values):
            self.refused[key] = self.refused.get(key, 0) + len(values) - len(fit)
        if fit:
            of_step = max(fit) if quantity.name == CONTACT else _middle(fit)
            self.steps.setdefault(key, {})[step] = of_step

    def _without_doubt(self, step: int, row: Mapping[str, Any]) -> Mapping[str, Any]:
        """Leave out what is doubtful, and note what is a lower bound."""
        for key in self._names(row.get("at_least")):
            self.at_least.setdefault(key, set()).add(step)
        doubtful = self._names(row.get("doubtful"))
        for key in doubtful:
            self.doubtful.setdefault(key, set()).add(step)
        return {key: value for key, value in row.items() if key not in doubtful}

    def _names(self, value: Any) -> Iterable[str]:
        """Return the series that are named, of those that the night has."""
        if not isinstance(value, list):
            return ()
        names = {name for name in value if isinstance(name, str)}
        return {
            name
            for name in names
            if key_quantity(name) is not None and self.room.has_series(name)
        }


def share_clocks(runs: Sequence[Run]) -> None:
    """Date runs of one process alike, by its last clock that can be right."""
    for after, run in zip(reversed(runs), reversed(runs[:-1]), strict=False):
        if after.goes_on and after.believed_s is not None:
            run.believed_s = after.believed_s
    for run, after in pairwise(runs):
        if after.goes_on and after.believed_s is None:
            after.believed_s = run.believed_s


def _middle(values: list[float]) -> float:
    return float(sorted(values)[len(values) // 2])


def _fits(quantity: Quantity, value: Any) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and quantity.low <= value <= quantity.high


_QUANTITIES: dict[str, Quantity | None] = {}
_MOST_KEYS = 1000
"""A damaged log must not fill memory with its keys."""


def key_quantity(key: str) -> Quantity | None:
    """Return the quantity of a line's key; None where it is no series."""
    if key in _QUANTITIES:
        return _QUANTITIES[key]
    parts = split_channel(key)
    found = None if parts is None else parts[0]
    if len(_QUANTITIES) < _MOST_KEYS:
        _QUANTITIES[key] = found
    return found


def step_of(up_s: float) -> int:
    """Return the step that a moment falls into."""
    return int(up_s // STEP_S)
