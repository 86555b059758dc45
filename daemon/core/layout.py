"""What the core expects of the air: its series, where they are, and the cabin."""

from collections.abc import Mapping
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

    def flickers(self, value: float) -> bool:
        """Return whether a living part gives another value at nearly every reading.

        One whose noise is below its step may rightly stand still; so may one that
        clamps: at nothing, and at the end of its range.
        """
        is_clamped = value >= self.top or value <= max(self.low, 0.0) + 3.0 * self.noise
        return 0.0 < self.resolution <= self.noise and not is_clamped

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

    def __post_init__(self) -> None:
        by_place: dict[tuple[str, str | None], list[str]] = {}
        for key in self.series:
            parts = split_channel(key)
            if parts is None:
                raise ValueError(f"{key!r} is no channel")
            by_place.setdefault((parts[0].name, parts[1]), []).append(key)
            if is_breathed(key):
                by_place.setdefault((parts[0].name, None), []).append(key)
        frozen = MappingProxyType({at: tuple(keys) for at, keys in by_place.items()})
        object.__setattr__(self, "places", frozen)
        made = tuple(key for key, spec in self.series.items() if spec.made_of)
        object.__setattr__(self, "made", made)

    def index(self, quantity: str, place: str | None = None) -> tuple[str, ...]:
        """Return the series of a quantity: at one place, or wherever people breathe."""
        return self.places.get((quantity, place), ())
