"""What sounded in the night: each stand of an alarm, from its raise to its end."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cabinvigil.daemon.log.night import STANDING, Event, is_about_air

RANKS: Mapping[str, int] = {"fault": 1, "low": 2, "medium": 3, "high": 4}
"""Words of `Priority`; a larger number asks more of a sleeper."""
NORMAL = "normal"
QUIET = ("suppressed", "shelved", "out-of-service")
"""Not told: the same cause stands there already, or a person set it aside."""


@dataclass(frozen=True, slots=True)
class Ring:
    """One time that an alarm sounded, in its own words."""

    at_s: float
    priority: str
    text: str
    exact: tuple[float, ...] = ()
    """Numbers beside its words, some of which those were rounded from; SI."""


@dataclass(slots=True)
class AlarmEpisode:
    """One stand of one alarm."""

    alarm: str
    from_s: float
    priority: str
    """The highest that it had."""
    text: str
    """What it said at its highest."""
    to_s: float | None = None
    """When its condition was gone; None: it still stood at the end."""
    acknowledged_s: float | None = None
    """From its first ring to the first answer; None: nobody answered."""
    rings: int = 1
    """How often it sounded, raises of its priority with it."""
    rises: tuple[Ring, ...] = ()
    """Its first ring, and each at which it had become graver."""
    first_up: bool = False
    was_told: bool = True
    """False where it was suppressed all the time."""

    @property
    def rank(self) -> int:
        """Its priority as a number."""
        return RANKS.get(self.priority, 0)

    @property
    def is_about_air(self) -> bool:
        """Whether it judges the air, and not a part or the monitor."""
        return is_about_air(self.alarm)


def alarm_episodes(events: Sequence[Event]) -> list[AlarmEpisode]:
    """Gather the transitions of every alarm."""
    found: list[AlarmEpisode] = []
    open_now: dict[str, AlarmEpisode] = {}
    for event in events:
        if event.kind == "start" and not _knows(event.fields):
            open_now = {}
        if event.kind == "alarm":
            _take(event, found, open_now)
    return [one for one in found if one.was_told]


def _knows(start: Mapping[str, Any]) -> bool:
    """Return whether a start knows where the alarms stood before it."""
    goes_on = start.get("reload") is True or start.get("continues") is True
    return goes_on or start.get("kept") is not None


def _take(
    event: Event, found: list[AlarmEpisode], open_now: dict[str, AlarmEpisode]
) -> None:
    fields = event.fields
    alarm, state, was = (_text(fields, key) for key in ("alarm", "state", "was"))
    stand = open_now.get(alarm)
    if state in STANDING and (stand is None or was in (NORMAL, *QUIET, "")):
        if stand is None:
            stand = _opened(event, alarm)
            found.append(stand)
            open_now[alarm] = stand
        elif not stand.was_told:
            stand.was_told, stand.from_s = True, event.at_s
        _rings(stand, event)
    elif stand is None and state in QUIET:
        stand = _opened(event, alarm)
        stand.was_told = False
        found.append(stand)
        open_now[alarm] = stand
    elif stand is not None and state == "unacknowledged":
        stand.rings += 1
        _rings(stand, event)
    if stand is None:
        return
    if "acknowledged" in (state, state.removeprefix("latched-")) and (
        stand.acknowledged_s is None and was != state
    ):
        stand.acknowledged_s = event.at_s - stand.from_s
    if state not in (*STANDING, *QUIET):
        stand.to_s = event.at_s if stand.to_s is None else stand.to_s
        if state == NORMAL:
            del open_now[alarm]


def _opened(event: Event, alarm: str) -> AlarmEpisode:
    return AlarmEpisode(
        alarm,
        event.at_s,
        _text(event.fields, "priority"),
        _text(event.fields, "text"),
        first_up=event.fields.get("first_up") is True,
    )


def _rings(stand: AlarmEpisode, event: Event) -> None:
    priority = _text(event.fields, "priority")
    stand.to_s = None
    before = max((RANKS.get(one.priority, 0) for one in stand.rises), default=-1)
    if RANKS.get(priority, 0) > before:
        words, beside = _text(event.fields, "text"), event.fields.get("evidence")
        ring = Ring(event.at_s, priority, words, _numbers(beside))
        stand.rises = (*stand.rises, ring)
    if RANKS.get(priority, 0) >= stand.rank:
        stand.priority = priority
        stand.text = _text(event.fields, "text") or stand.text


def _numbers(evidence: Any) -> tuple[float, ...]:
    """Return the numbers of an alarm's evidence."""
    if not isinstance(evidence, Mapping):
        return ()
    return tuple(float(one) for one in evidence.values() if type(one) in (int, float))


def _text(fields: Mapping[str, Any], key: str) -> str:
    value = fields.get(key, "")
    return value if isinstance(value, str) else ""
