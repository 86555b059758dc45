"""The shell's middle: readings become events, the core steps, commands go out.

Readings are rounded as the log writes them before the core sees them, and so is the
time: what is replayed from a log is then exactly what was decided on.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol, runtime_checkable

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.compose.compose import CoreBuild
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.model import (
    Act,
    Air,
    Command,
    Event,
    SourceFault,
    SourceOk,
    Transition,
)
from cabinvigil.daemon.outputs.base import Output, Stamp
from cabinvigil.drivers.kit.quantity import QUANTITIES
from cabinvigil.drivers.kit.steps import Sample

TIME_DECIMALS = 3
HURRY_S = 1.0
"""While a reading is past a limit the air is judged with each new one, at most once a
second: as often as at the usual tick."""
KEEP_EVERY_S = 600.0
"""The state is kept so often though no alarm changes: what has been breathed grows all
the time.  Own choice: fifty writes a night, and ten minutes of eight hours to lose."""


def round_reading(quantity: str, value: float) -> float:
    """Round a value to what is worth logging."""
    known = QUANTITIES.get(quantity)
    return value if known is None else round(value, known.decimals)


@runtime_checkable
class Follower(Protocol):
    """An output that wants to know what the monitor knows, beside what it says."""

    def know(self, state: State) -> None:
        """Take what is known before the next command; never blocks, never raises."""
        ...


class Watcher:
    """Holds the core's state and feeds it; knows no wire and no loop."""

    def __init__(
        self,
        composed: CoreBuild,
        clock: Clock,
        outputs: Sequence[Output],
        *,
        state: State | None = None,
        on_change: Callable[[State], None] = lambda _state: None,
        on_urgent: Callable[[], None] = lambda: None,
    ) -> None:
        """Start watching, from nothing or from a kept state.

        Args:
            composed: the core's setup.
            clock: for `now` and the stamps.
            outputs: given every command, in this order: the sounder first.
            state: what was known before a restart or a reload.
            on_change: called with the state after every change of an alarm, and now
                and then without one.
            on_urgent: called when a value must not wait for the next tick.
        """
        self._clock = clock
        self._origin_s = clock.monotonic()
        self._outputs = outputs
        self._on_change = on_change
        self._on_urgent = on_urgent
        self._values: dict[str, float] = {}
        self._at_least: set[str] = set()
        self._doubtful: set[str] = set()
        self._last: dict[tuple[str, str], tuple[float, float]] = {}
        self._now_s = 0.0
        self._ticked_s = float("-inf")
        self._kept_s = 0.0
        self._followers = [one for one in outputs if isinstance(one, Follower)]
        self.composed = composed
        self.state = start(composed.setup, 0.0) if state is None else state
        self._let_know()

    def up_s(self) -> float:
        """Return monotonic seconds since the start, as the log writes them."""
        up_s = round(self._clock.monotonic() - self._origin_s, TIME_DECIMALS)
        self._now_s = max(self._now_s, up_s)
        return self._now_s

    def on_reading(self, part: str, samples: list[Sample], at_s: float) -> None:
        """Take what a part gave; it is assessed with the next tick, or at once.

        Of several readings in one tick the one furthest past a limit counts.
        """
        is_urgent = False
        for sample in samples:
            self._last[part, sample.quantity] = (at_s, sample.value)
            key = self.composed.keys.get((part, sample.quantity))
            if key is None:
                continue
            value = round_reading(sample.quantity, sample.value)
            is_urgent = is_urgent or self._must_not_wait(key, sample.quantity, value)
            waiting = self._values.get(key)
            if waiting is not None and self._past(
                sample.quantity, waiting
            ) > self._past(sample.quantity, value):
                continue
            self._values[key] = value
            self._at_least.discard(key)
            self._doubtful.discard(key)
            if sample.quality == "at-least":
                self._at_least.add(key)
            elif sample.quality == "outside-range":
                self._doubtful.add(key)
        if is_urgent:
            self._on_urgent()

    def _past(self, quantity: str, value: float) -> tuple[int, float]:
        """Return how many limits a value is past, and how far it is past the first."""
        past = [
            abs(value - limit)
            for side, limit in self.composed.urgent.get(quantity, ())
            if (value <= limit if side == "below" else value >= limit)
        ]
        return len(past), max(past, default=0.0)

    def _must_not_wait(self, key: str, quantity: str, value: float) -> bool:
        """Return whether a reading is to be judged before the next tick.

        At once where it is past a limit that the one before was not; else once a
        second while either is past one, so that a slow tick hides no danger's course.
        """
        before, now = (
            self._past(quantity, one)[0]
            for one in (self.state.history.series[key].value, value)
        )
        if now > before:
            return True
        since_s = self._clock.monotonic() - self._ticked_s
        return (now > 0 or before > 0) and since_s >= HURRY_S

    @property
    def ticked_s(self) -> float:
        """When the air was last assessed, on the clock; minus infinity: never."""
        return self._ticked_s

    @property
    def faults(self) -> Mapping[str, SourceFault]:
        """What is at fault now, by source."""
        return self.state.history.sources

    def lookup(self, part: str, quantity: str, max_age_s: float) -> float | None:
        """Return a part's last value of a quantity where it is not too old."""
        found = self._last.get((part, quantity))
        if found is None or self._clock.monotonic() - found[0] > max_age_s:
            return None
        return found[1]

    def tick(self) -> None:
        """Assess what came since the last tick, though it be nothing."""
        air = Air(self._values, frozenset(self._at_least), frozenset(self._doubtful))
        self._values, self._at_least, self._doubtful = {}, set(), set()
        self._ticked_s = self._clock.monotonic()
        self.step(air)

    def adopt(self, composed: CoreBuild, state: State) -> None:
        """Go on with another setup (a reload); readings that wait are judged by it."""
        self.composed, self.state = composed, state
        known = composed.setup.layout.series
        self._values = {k: v for k, v in self._values.items() if k in known}
        self._let_know()

    def on_event(self, event: SourceFault | SourceOk | Act) -> None:
        """Take a fault, its end, or what a person did."""
        self.step(event)

    def step(self, event: Event) -> None:
        """Step the core by one event and hand out its commands."""
        now = self.up_s()
        before = self.state.standings
        self.state, commands = step(self.state, event, now)
        stamp = Stamp(now, self._clock.wall())
        # The first tells of the event itself: before it, the state is the one before.
        self._give(commands[:1], stamp)
        self._let_know()
        self._give(commands[1:], stamp)
        is_changed = self.state.standings is not before and any(
            isinstance(command, Transition) for command in commands
        )
        if is_changed or now - self._kept_s >= KEEP_EVERY_S:
            self._kept_s = now
            self._on_change(self.state)

    def hand_out(self, commands: Sequence[Command], now: float) -> None:
        """Give commands to every output."""
        if not commands:
            return
        self._give(commands, Stamp(now, self._clock.wall()))

    def _give(self, commands: Sequence[Command], stamp: Stamp) -> None:
        for command in commands:
            for output in self._outputs:
                output.handle(command, stamp)

    def _let_know(self) -> None:
        for output in self._followers:
            output.know(self.state)

    def lower_bounds(self) -> list[str]:
        """Return the fresh series whose part is at the end of its range."""
        fresh = ((k, self.state.history.fresh(k)) for k in self.state.history.series)
        return [key for key, one in fresh if one is not None and one.at_least]

    def numbers(self) -> Mapping[str, Any]:
        """Return the fresh value of every series, for those who ask."""
        history = self.state.history
        return {
            key: series.value
            for key in history.series
            if (series := history.fresh(key)) is not None
        }
