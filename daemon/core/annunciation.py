"""What the sounder plays, and who is left unanswered, given where all alarms stand."""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.model import EMPTY, Priority, Sound

PATTERNS: Mapping[Priority, str] = {
    Priority.HIGH: "temporal-four",
    Priority.MEDIUM: "three-pulse",
    Priority.LOW: "quiet",
    Priority.FAULT: "chirp",
}
"""Each sound is used for what its standard means: temporal-four is 'go to fresh air'
(check value `sound_t4`), three pulses are medium (`iec60601_burst_shape`)."""

LOUDNESS = {Priority.HIGH: 3, Priority.MEDIUM: 2, Priority.FAULT: 1, Priority.LOW: 0}
"""Which sound goes before which: a chirp before nothing at all."""

GRAVE_AGE_S = 900.0
"""A danger that has stood for a quarter of an hour is told further, answered or not:
whoever answers in his sleep airs nothing out."""


def choose_sound(
    standings: Mapping[str, AlarmStatus], own: Mapping[str, str] = EMPTY
) -> Sound:
    """Choose the one sound: the gravest alarm that nobody has answered.

    It is louder while any that wakes people has waited for long: a new and graver one
    must not take the second sounder away again.

    Args:
        standings: where all alarms stand.
        own: by alarm, the sound that it has of its own while it is high.
    """
    ruling: tuple[int, float, str] | None = None
    louder = False
    for alarm, standing in standings.items():
        if standing.sounds:
            rank = (LOUDNESS[standing.priority], -standing.unanswered_s, alarm)
            louder = louder or standing.escalation > 0
            if ruling is None or rank > ruling:
                ruling = rank
    if ruling is None or ruling[0] == 0:
        return Sound("quiet")
    alarm = ruling[2]
    priority = standings[alarm].priority
    pattern = own.get(alarm, "") if priority is Priority.HIGH else ""
    return Sound(pattern or PATTERNS[priority], alarm, louder=louder)


def escalate(
    standings: Mapping[str, AlarmStatus], after_s: tuple[float, float], now: float
) -> dict[str, AlarmStatus]:
    """Find the alarms that nobody answers, and raise them: told again, and further.

    Returns:
        The standings that changed.
    """
    changed: dict[str, AlarmStatus] = {}
    for alarm, standing in standings.items():
        if not standing.sounds or standing.priority < Priority.MEDIUM:
            continue
        waited_s = now - standing.unanswered_s
        level = sum(waited_s >= limit_s for limit_s in after_s)
        if standing.grave_s is not None and now - standing.grave_s >= GRAVE_AGE_S:
            level = len(after_s)
        if level > standing.escalation:
            changed[alarm] = replace(standing, escalation=level)
    return changed
