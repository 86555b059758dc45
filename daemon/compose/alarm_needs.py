"""What the alarms ask beyond their turn at each tick: haste, and a long memory."""

from collections.abc import Callable, Mapping
from typing import Any

from cabinvigil.daemon import rules
from cabinvigil.daemon.settings.values import AlarmSettings


def urgent_limits(
    alarms: Mapping[str, AlarmSettings],
) -> dict[str, tuple[tuple[str, float], ...]]:
    """Gather the limits whose crossing must not wait for the next tick."""
    found: dict[str, list[tuple[str, float]]] = {}
    for alarm in alarms.values():
        limits: Callable[[Any], Mapping[str, tuple[str, float]]] | None
        limits = getattr(rules.find(alarm.kind), "urgent", None)
        if limits is None:
            continue
        for quantity, limit in limits(alarm.params).items():
            found.setdefault(quantity, []).append(limit)
    return {quantity: tuple(limits) for quantity, limits in found.items()}


def long_means(alarms: Mapping[str, AlarmSettings]) -> dict[str, float]:
    """Gather the longest mean that is taken of each quantity, in seconds."""
    longest: dict[str, float] = {}
    for alarm in alarms.values():
        means: Callable[[Any], Mapping[str, float]] | None
        means = getattr(rules.find(alarm.kind), "means", None)
        for quantity, over_s in means(alarm.params).items() if means else ():
            longest[quantity] = max(over_s, longest.get(quantity, 0.0))
    return longest
