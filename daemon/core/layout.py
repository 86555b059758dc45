"""What the core expects of the air: its series, where they are, and the cabin."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.core.model import EMPTY
from cabinvigil.drivers.kit.quantity import is_breathed, split_channel


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


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the config knows of the cabin; None is unknown."""

    altitude_m: float | None = None
    outside_c: float | None = None
    glass_u_w_m2k: float | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """What is measured, where, in which cabin; fixed while the core runs."""

    series: Mapping[str, SeriesSpec]
    surroundings: Surroundings = field(default_factory=Surroundings)
    part_facts: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: EMPTY)
    """By part: whatever a rule on parts needs (`service_until_s` and the like)."""
    places: Mapping[tuple[str, str | None], tuple[str, ...]] = field(init=False)
    """Series by (quantity, place); place None: wherever people breathe."""

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

    def index(self, quantity: str, place: str | None = None) -> tuple[str, ...]:
        """Return the series of a quantity: at one place, or wherever people breathe."""
        return self.places.get((quantity, place), ())
