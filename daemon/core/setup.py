"""What the core is told once, at its start: series, alarms, words, the trend."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Protocol

from cabinvigil.daemon.core.model import EMPTY, Priority, Verdict
from cabinvigil.drivers.kit.quantity import is_breathed, split_channel

if TYPE_CHECKING:
    from cabinvigil.daemon.core.history import History

Judge = Callable[[Any, "History", float], Verdict | None]
Render = Callable[[str, Priority, str, Mapping[str, float | str]], str]


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
class AlarmSpec:
    """One alarm: which rule judges it, and how it rings."""

    id: str
    """`o2-low`; an instance has its subject after a slash: `sensor-stale/bunk-o2`."""
    kind: str
    params: Any
    judge: Judge
    on_delay_s: float = 0.0
    """The condition must have stood this long."""
    off_delay_s: float = 0.0
    """The condition must have been gone this long."""
    latch: bool = True
    """At `high` it latches until acknowledged."""
    ack_s: float = 300.0
    """An acknowledgement quiets for this long at most."""
    again_step: float = float("inf")
    """Growth of `Verdict.worse` at which it rings anew."""
    shelve_s: float = 3600.0
    """Longest time aside; 0 where it may not be shelved."""
    removable: bool = False
    """May be taken out of service: faults of parts only, never a gas alarm."""
    about_air: bool = True
    """Judges the air: the all-clear waits for it."""
    suppressed_by: tuple[str, ...] = ()
    """While one of these stands, the same cause is told there already."""


class TrendPort(Protocol):
    """The trend, as the core sees it: three pure functions over a frozen state."""

    def start(self) -> Any:
        """Return the first state."""
        ...

    def update(self, state: Any, now_s: float, values: Mapping[str, float]) -> Any:
        """Take the ruling values of this tick, by quantity."""
        ...

    def estimate(self, state: Any, now_s: float) -> Any | None:
        """Say what the air does, or None where it cannot be told yet."""
        ...

    def fields(self, estimate: Any) -> Mapping[str, Any]:
        """Spell an estimate as the log and the replay do."""
        ...


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the config knows of the cabin; None is unknown."""

    altitude_m: float | None = None
    outside_c: float | None = None
    glass_u_w_m2k: float | None = None


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything that does not change while the core runs."""

    series: Mapping[str, SeriesSpec]
    alarms: tuple[AlarmSpec, ...]
    render: Render
    trend: TrendPort | None = None
    surroundings: Surroundings = field(default_factory=Surroundings)
    part_facts: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: EMPTY)
    """By part: whatever a rule on parts needs (`service_until_s` and the like)."""
    escalate_s: tuple[float, float] = (120.0, 300.0)
    """Unanswered this long: louder and told again; then the second topic."""
    places: Mapping[tuple[str, str | None], tuple[str, ...]] = field(init=False)
    """Series by (quantity, place); place None: wherever people breathe."""

    def __post_init__(self) -> None:
        found: dict[tuple[str, str | None], list[str]] = {}
        for key in self.series:
            parts = split_channel(key)
            if parts is None:
                raise ValueError(f"{key!r} is no channel")
            found.setdefault((parts[0].name, parts[1]), []).append(key)
            if is_breathed(key):
                found.setdefault((parts[0].name, None), []).append(key)
        frozen = MappingProxyType({at: tuple(keys) for at, keys in found.items()})
        object.__setattr__(self, "places", frozen)

    def index(self, quantity: str, place: str | None = None) -> tuple[str, ...]:
        """Return the series of a quantity: at one place, or wherever people breathe."""
        return self.places.get((quantity, place), ())
