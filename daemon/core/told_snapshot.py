"""What the phones were told, as it outlives a restart."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.alarm_snapshot import (
    LONGEST_TEXT,
    MOST_AGE_S,
    number,
    priority_of,
)
from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.notification import (
    OVER_WAIT_S,
    Notification,
    Weight,
    weight,
)
from cabinvigil.daemon.core.setup import AlarmSpec

TOLD_KEPT = 64
"""Of each list of what was told: more than any night has open at once."""


def told_to_plain(told: Notification, now: float) -> dict[str, Any]:
    """Put what was told into plain values, with ages in seconds."""
    return {
        "texts_age_s": [now - at for at in told.texts_s],
        "second_texts_age_s": [now - at for at in told.second_texts_s],
        "alarms": _grave_to_plain(told.told, now),
        "dangers": _grave_to_plain(told.dangers, now),
        "waiting": sorted(told.waiting),
        "missed": list(told.missed),
        "ended": list(told.ended),
        **({"ended_due_in_s": told.ended_due_s - now} if told.ended else {}),
        "is_second": told.is_second,
    }


def _grave_to_plain(
    told: Mapping[str, tuple[Weight, float]], now: float
) -> dict[str, Any]:
    return {
        alarm: [grave[0].word, grave[1], now - at]
        for alarm, (grave, at) in told.items()
    }


def still_to_tell(
    told: Notification, standings: Mapping[str, AlarmStatus], now: float
) -> Notification:
    """Have what calls for a person told again: a kill may have lost it.

    As what stood before the kill: it is no rise, and waits for room.
    """
    calling = {alarm: one for alarm, one in standings.items() if one.calls}
    stood = {
        alarm: (weight(one), now)
        for alarm, one in calling.items()
        if one.priority is Priority.HIGH
    }
    waiting = told.waiting | calling.keys()
    return replace(told, waiting=waiting, dangers={**stood, **told.dangers})


def told_from_plain(
    kept: Any, specs: Mapping[str, AlarmSpec], now: float, gone_s: float
) -> Notification:
    """Take over what the phones were told; what cannot be read was not told."""
    if not isinstance(kept, Mapping):
        return Notification()

    def moments(key: str) -> tuple[float, ...]:
        ages = kept.get(key)
        found = ages[-TOLD_KEPT:] if isinstance(ages, list) else []
        return tuple(now - gone_s - number(age, 0.0, 0.0, MOST_AGE_S) for age in found)

    def words(key: str) -> list[str]:
        found = kept.get(key)
        found = found[:TOLD_KEPT] if isinstance(found, list) else []
        return [one[:LONGEST_TEXT] for one in found if isinstance(one, str)]

    def graves(key: str) -> dict[str, tuple[Weight, float]]:
        found = kept.get(key)
        told: dict[str, tuple[Weight, float]] = {}
        for alarm, entry in found.items() if isinstance(found, Mapping) else ():
            if alarm in specs and isinstance(entry, list) and len(entry) == 3:
                at_s = now - gone_s - number(entry[2], 0.0, 0.0, MOST_AGE_S)
                priority = priority_of(entry[0], Priority.FAULT)
                told[alarm] = ((priority, entry[1] is True), at_s)
        return told

    told = graves("alarms")
    dangers = {alarm: one for alarm, one in told.items() if one[0][0] is Priority.HIGH}
    ended = words("ended")
    due_in_s = number(kept.get("ended_due_in_s"), 0.0, 0.0, OVER_WAIT_S)
    return Notification(
        moments("texts_age_s"),
        moments("second_texts_age_s"),
        told,
        {**dangers, **graves("dangers")},
        frozenset(one for one in words("waiting") if one in specs),
        tuple(words("missed")),
        tuple(ended),
        now - gone_s + due_in_s if ended else math.inf,
        is_second=kept.get("is_second") is True,
    )
