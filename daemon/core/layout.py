"""What the core expects of the air: its series, where they are, and the cabin."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.air.blood import Body
from cabinvigil.daemon.core.model import EMPTY
from cabinvigil.drivers.kit.quantity import is_breathed, split_channel

STILL_INTERVALS = 30.0
STILL_LEAST_S = 60.0
"""Thirty equal readings in a row: where the noise is one step, two equal ones come with
a probability of 0.4, so that thirty come once in 10^12."""
MOVES_STEPS = 30.0
"""Air that moves by a thirtieth of itself within minutes moves a value of so many steps
(our choice): carbon monoxide above 3 ppm in steps of 0.1, above 30 in steps of 1."""
RESTS_FROM = -20.0
"""A quantity that cannot be far below zero rests at it; a temperature passes it."""
SIGNALS = {"o2_pct": "o2_hpa"}
"""What shows whether a cell lives: its own signal.  Its percent goes on moving with the
air pressure when the cell has died, and may come in coarser steps."""


@dataclass(frozen=True, slots=True)
class SeriesSpec:
    """One series of values that the core expects, and how it behaves when alive."""

    key: str
    """The channel, or `<channel>__<part>` where several parts feed it."""
    part: str
    """The config name of the part that gives it."""
    title: str
    """The part in words."""
    low: float
    """Physically possible range, in the quantity's unit."""
    high: float
    max_age_s: float = 30.0
    """Older than this is stale."""
    stuck_s: float = 3600.0
    """Identical for longer than this is stuck."""
    jump_per_s: float = float("inf")
    """Faster change is not believed until a second value agrees."""
    noise: float = 0.0
    resolution: float = 0.0
    lag_s: float = 0.0
    warm_up_s: float = 0.0
    mean_s: float = 0.0
    """The longest mean that a limit takes of it: its minutes outlive a restart."""
    interval_s: float = 0.0
    """How often the part gives it; 0: not known."""
    top: float = float("inf")
    """The end of the part's own range."""
    made_of: str = ""
    """The series that this one is worked out from; '' where a part gives it."""
    is_at_least_at_top: bool = True
    """A value at `top` is a lower bound; not so of humidity, which ends there."""
    warmth: str = ""
    """The series that shows how warm its part is; '' where none does."""
    off_per_k_min: float = 0.0
    """So far it may be off for each kelvin a minute that this warmth runs."""
    accuracy: float = 0.0
    """So far off its maker lets it be, in its unit; 0: not known."""
    settles: float = 0.0
    """So far it may move while its part warms up and the air stands."""
    made_up_s: float = 0.0
    """For so long after power-up its values may be made up; 0: they are not."""
    moves_above: float = float("inf")
    """Above this the air itself moves it, by `MOVES_STEPS` steps of a fine part."""

    def rests(self, value: float) -> bool:
        """Return whether a living part may rightly repeat a value for days.

        At the end of its range, and at nothing: where it clamps, or where the air
        itself gives nothing to measure.
        """
        if value >= self.top:
            return True
        nothing = max(self.low, 0.0) if self.low > RESTS_FROM else -math.inf
        if value <= nothing + 3.0 * self.noise:
            return True
        is_coarse = self.resolution > self.noise
        return is_coarse and value <= self.moves_above < math.inf

    def flickers(self, value: float) -> bool:
        """Return whether a living part gives another value at nearly every reading.

        One whose noise is below its step may rightly stand still, as long as the air
        does, or moves by less than the step.
        """
        if self.resolution <= 0.0 or self.rests(value):
            return False
        moving = max(self.moves_above, MOVES_STEPS * self.resolution)
        return self.resolution <= self.noise or value > moving

    @property
    def still_s(self) -> float:
        """How long a value that flickers may stand and still be taken for alive."""
        return max(STILL_INTERVALS * self.interval_s, STILL_LEAST_S)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the config knows of the cabin; None is unknown."""

    altitude_m: float | None = None
    outside_c: float | None = None
    glass_u_w_m2k: float | None = None
    others: Mapping[str, Body] = field(default_factory=lambda: EMPTY)
    """Whose blood is counted beside that of an adult at rest, by name."""


@dataclass(frozen=True, slots=True)
class Layout:
    """What is measured, where, in which cabin; fixed while the core runs."""

    series: Mapping[str, SeriesSpec]
    surroundings: Surroundings = field(default_factory=Surroundings)
    part_facts: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: EMPTY)
    """By part: whatever a rule on parts needs (`service_until_s` and the like)."""
    places: Mapping[tuple[str, str | None], tuple[str, ...]] = field(init=False)
    """Series by (quantity, place); place None: wherever people breathe."""
    made: tuple[str, ...] = field(init=False)
    """The series that no part gives."""
    signals: Mapping[str, str] = field(init=False)
    """The series that shows whether the part of a series lives, where another does."""

    def __post_init__(self) -> None:
        by_place: dict[tuple[str, str | None], list[str]] = {}
        for key in self.series:
            parts = split_channel(key)
            if parts is None:
                raise ValueError(f"{key!r} is not a channel")
            by_place.setdefault((parts[0].name, parts[1]), []).append(key)
            if is_breathed(key):
                by_place.setdefault((parts[0].name, None), []).append(key)
        frozen = MappingProxyType({at: tuple(keys) for at, keys in by_place.items()})
        object.__setattr__(self, "places", frozen)
        made = tuple(key for key, spec in self.series.items() if spec.made_of)
        object.__setattr__(self, "made", made)
        signals = MappingProxyType(dict(self._signals()))
        object.__setattr__(self, "signals", signals)

    def _signals(self) -> Iterator[tuple[str, str]]:
        for key, spec in self.series.items():
            quantity, place = split_channel(key) or (None, "")
            wanted = SIGNALS.get("" if quantity is None else quantity.name, "")
            for other in self.index(wanted, place):
                signal = self.series[other]
                if signal.part == spec.part and not signal.made_of:
                    yield key, other

    def index(self, quantity: str, place: str | None = None) -> tuple[str, ...]:
        """Return the series of a quantity: at one place, or wherever people breathe."""
        return self.places.get((quantity, place), ())
