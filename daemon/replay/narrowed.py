"""What of a monitor decides some of its alarms, and no more: a replay of it is quick.

Each alarm moves by its own rule and by what people do, but for those that another
suppresses.  A test of the parts begins only where nothing stands, so a night with one
is replayed whole.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

from cabinvigil.daemon import rules
from cabinvigil.daemon.core.setup import AlarmSpec, Setup


@dataclass(frozen=True, slots=True)
class Narrowed:
    """Leaves out of setups what decides none of some alarms."""

    names: Collection[str]
    """Of the alarms, without their instances."""
    kept: set[str] = field(default_factory=set)
    """The ids of what was left in so far."""

    def __call__(self, setup: Setup) -> Setup:
        """Narrow a setup, its trend too where no alarm that is left asks it."""
        kept = decided_with(setup.alarms, self.names)
        self.kept.update(kept)
        alarms = tuple(spec for spec in setup.alarms if spec.id in kept)
        trend = setup.trend if any(map(_asks_trend, alarms)) else None
        return replace(setup, alarms=alarms, trend=trend)


def decided_with(alarms: Iterable[AlarmSpec], names: Collection[str]) -> set[str]:
    """Return the ids of all alarms of these names, and of those bound up with them."""
    specs = list(alarms)
    kept = {spec.id for spec in specs if name_of(spec.id) in names}
    while True:
        bound = {
            one
            for spec in specs
            if spec.id in kept or kept.intersection(spec.suppressed_by)
            for one in (spec.id, *spec.suppressed_by)
        }
        if bound <= kept:
            return kept
        kept |= bound


def name_of(alarm: str) -> str:
    """Return the name that an alarm's id begins with."""
    return alarm.partition("/")[0]


def _asks_trend(spec: AlarmSpec) -> bool:
    return bool(getattr(rules.find(spec.kind), "BY_TREND", False))
