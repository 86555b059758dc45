"""What the core is told once, at its start: layout, alarms, words, the trend."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.layout import Layout
from cabinvigil.daemon.core.model import Priority, Verdict

Judge = Callable[[Any, History, float], Verdict | None]
Render = Callable[[str, Priority, str, Mapping[str, float | str]], str]


@dataclass(frozen=True, slots=True)
class AlarmSpec:
    """One alarm: which rule judges it, and how it sounds."""

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
    """Growth of `Verdict.severity` at which it sounds again."""
    shelve_s: float = 3600.0
    """Longest time aside; 0 where it may not be shelved."""
    gravest: Priority = Priority.HIGH
    """The gravest that it can ring as, whatever comes: who may put it aside follows
    from that, and not from how it stands at the moment."""
    removable: bool = False
    """May be taken out of service: faults of parts only, never a gas alarm."""
    about_air: bool = True
    """Judges the air: the all-clear waits for it."""
    sound: str = ""
    """Of its own, while it is high; '' that of its priority."""
    at_once: bool = False
    """No test of the parts, and no trial, keeps it from a phone."""
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

    def reanchor(self, state: Any, quantities: frozenset[str]) -> Any:
        """Begin again with another part's readings of these quantities."""
        ...

    def estimate(self, state: Any, now_s: float) -> Any | None:
        """Return what the air does, or None where it cannot be told yet."""
        ...

    def fields(self, estimate: Any) -> Mapping[str, Any]:
        """Format an estimate as the log and the replay do."""
        ...


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything that does not change while the core runs."""

    layout: Layout
    alarms: tuple[AlarmSpec, ...]
    render: Render
    trend: TrendPort | None = None
    escalate_s: tuple[float, float] = (120.0, 300.0)
    """Unanswered this long: louder and told again; then the second topic."""

    @property
    def sounds(self) -> Mapping[str, str]:
        """The alarms that have a sound of their own, with it."""
        return {spec.id: spec.sound for spec in self.alarms if spec.sound}

    @property
    def at_once(self) -> frozenset[str]:
        """The alarms that nothing keeps from a phone."""
        return frozenset(spec.id for spec in self.alarms if spec.at_once)


ABOUT = {
    "bilge": "contact",
    "contact": "contact",
    "dose": "co_ppm",
    "displaced": "o2_pct",
}
"""What the rules are about that name no quantity, by kind."""


BESIDE = {"displaced": ("co2_ppm",)}
"""What else a rule needs to judge at all, by kind."""


def quantity_of(spec: AlarmSpec) -> str:
    """Return the quantity that an alarm is about; '' for none."""
    return getattr(spec.params, "quantity", "") or ABOUT.get(spec.kind, "")


def place_of_need(spec: AlarmSpec) -> str | None:
    """Return where that must be measured; None: wherever people breathe.

    Of a contact it is what it tells of: a door tells of no smoke.
    """
    if quantity_of(spec) != "contact":
        return None
    return str(getattr(spec.params, "means", spec.kind))


def needed_by(spec: AlarmSpec) -> tuple[str, ...]:
    """Return every quantity without which an alarm can neither ring nor clear."""
    quantity = quantity_of(spec)
    return (*((quantity,) if quantity else ()), *BESIDE.get(spec.kind, ()))


UNSEEN_S = 600.0
"""What nothing has measured for so long, an answer ends (our choice)."""


def is_unseen(spec: AlarmSpec, history: History) -> bool:
    """Return whether nothing has measured for long what an alarm needs to clear.

    Where its rule can judge all the same, that is no matter.
    """
    place = place_of_need(spec)
    return any(history.unseen_s(one, place) >= UNSEEN_S for one in needed_by(spec))
