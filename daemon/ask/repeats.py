"""Asks that come twice: MQTT may deliver again what it has delivered.

No clock: every call is given the moment.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.core.model import ActKind

REPEAT_S = 120.0
"""The same ask with the same id within so long is the same ask."""
KEPT = 32


@dataclass(slots=True)
class FirstAsk:
    """An ask that may come again."""

    at_s: float
    body: Mapping[str, Any] | None = None
    """What was answered; None while nobody knows."""


class Repeats:
    """Remembers what was asked with an id, and what came of it."""

    def __init__(self) -> None:
        self._firsts: dict[str, FirstAsk] = {}

    def first_of(self, ask: Ask, now_s: float) -> tuple[FirstAsk, bool]:
        """Return the first of an ask, and whether this one repeats it.

        Acknowledging twice is harmless, and is never held for a repeat: a client that
        gives all asks one id must not be locked out.
        """
        first = FirstAsk(now_s)
        if not ask.id or ask.act is None or ask.act.kind is ActKind.ACKNOWLEDGE:
            return first, False
        key = f"{ask.id}\n{replace(ask.act, age_s=0.0)}"
        known = self._firsts.get(key)
        if known is not None and now_s - known.at_s <= REPEAT_S:
            return known, True
        self._firsts.pop(key, None)
        while len(self._firsts) >= KEPT:
            self._firsts.pop(next(iter(self._firsts)))
        self._firsts[key] = first
        return first, False
