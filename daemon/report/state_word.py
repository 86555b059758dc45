"""How the cabin stands, in one word, and what to do about it: a look's first lines."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from cabinvigil.daemon.core.sentences import act_of
from cabinvigil.daemon.review.alarm_episodes import RANKS
from cabinvigil.drivers.kit.quantity import (
    QUANTITIES,
    VITAL,
    is_breathed,
    split_channel,
)

SAFE, LOOK, WAKE, OUT = "SAFE", "LOOK", "WAKE", "OUT"
TRIAL, NOT_KNOWN = "TRIAL", "NOT KNOWN"
"""The words of the phone's page, in capitals."""
ACTS: Mapping[str, str] = {
    OUT: "Get everyone outside now.",
    WAKE: "Open the door and vents now.",
    LOOK: "Check what is listed below.",
    SAFE: "Nothing to do.",
    TRIAL: "Stay outside: nobody is to be inside.",
    NOT_KNOWN: "Open the door and vents: nobody can say that the air is good.",
}
"""What to do where no alarm says it better."""
STAY_OUT = "Stay outside until the all-clear: there was a danger."
UNSEEN_OUT = "Stay outside: no sensor here can show that the air is good."
KEEP_OPEN = "Keep the vents open until the all-clear."
AIR_IT = "Open a vent: the air is at a limit."
SOON = "Open a vent: oxygen may be low in an hour."
SOON_MIN = 60.0
"""A forecast that crosses the limit by then is no "nothing to do" (own choice)."""
O2_LIMIT_PCT, CO_LIMIT_PPM = 19.5, 30.0
"""No word but for air short of the first limits (config/limits.toml)."""
HIDDEN = frozenset({"normal", "suppressed"})
"""States of an alarm that says nothing, or stands behind another."""
GASES = frozenset({*VITAL, "co2_ppm"})
"""Without one of them nobody can say anything of the air."""
STANDS = frozenset(
    {
        *("unacknowledged", "acknowledged"),
        *("latched-unacknowledged", "latched-acknowledged"),
    }
)
"""States in which what it is about is so, or waits to be looked at."""


class StateWord(NamedTuple):
    """The word, and what to do."""

    word: str
    act: str


def stand(status: Mapping[str, Any]) -> StateWord:
    """Judge what a monitor says of itself; what it does not say is no good news.

    Args:
        status: what it says.
    """
    if not isinstance(status.get("alarms"), list):
        return StateWord(NOT_KNOWN, ACTS[NOT_KNOWN])
    alarms = [one for one in status["alarms"] if isinstance(one, Mapping)]
    standing = [one for one in alarms if one.get("state") in STANDS]
    standing.sort(key=lambda one: -_rank(one))
    worst = _rank(standing[0]) if standing else 0
    text = str(standing[0].get("text", "")) if standing else ""
    if worst >= RANKS["high"]:
        return StateWord(OUT, act_of(text) or ACTS[OUT])
    airing = status.get("airing")
    if isinstance(airing, Mapping) and sent_out(airing):
        is_unseen = airing.get("can_be_told") is False
        return StateWord(OUT, UNSEEN_OUT if is_unseen else STAY_OUT)
    if isinstance(status.get("trial"), Mapping):
        return StateWord(TRIAL, ACTS[TRIAL])
    if worst >= RANKS["medium"]:
        return StateWord(WAKE, act_of(text) or ACTS[WAKE])
    seen = _seen(status)
    if seen.keys().isdisjoint(GASES):
        return StateWord(NOT_KNOWN, ACTS[NOT_KNOWN])
    fault = next(_faults(status), "")
    is_noted = any(one.get("state") not in STANDS | HIDDEN for one in alarms)
    if isinstance(airing, Mapping) and worst < RANKS["low"]:
        return StateWord(LOOK, KEEP_OPEN)
    if standing or fault or is_noted:
        return StateWord(LOOK, act_of(text) or act_of(fault) or ACTS[LOOK])
    if blind := _blind(status, [name for name in VITAL if name not in seen]):
        return StateWord(LOOK, blind)
    if seen["o2_pct"][0] <= O2_LIMIT_PCT or seen["co_ppm"][1] >= CO_LIMIT_PPM:
        return StateWord(LOOK, AIR_IT)
    if _crosses_soon(status):
        return StateWord(LOOK, SOON)
    return StateWord(SAFE, ACTS[SAFE])


def sent_out(airing: Mapping[str, Any]) -> bool:
    """Return whether people were sent outside; where it does not say, they were."""
    return airing.get("sent_out") is not False or airing.get("can_be_told") is False


def _rank(one: Mapping[str, Any]) -> int:
    """Return how grave an alarm is; one of another version's word wakes people."""
    return RANKS.get(str(one.get("priority")), RANKS["medium"])


def _blind(status: Mapping[str, Any], missing: Sequence[str]) -> str:
    """Return what keeps a vital quantity from being known; '' where all are."""
    readings, warming = status.get("readings"), status.get("warming_up")
    keys = [
        (parts[0].name, str(key))
        for key in (readings if isinstance(readings, Mapping) else ())
        if (parts := split_channel(str(key))) is not None and is_breathed(str(key))
    ]
    given = {name for name, _ in keys}
    if none := [QUANTITIES[name].words for name in missing if name not in given]:
        return f"Nothing here measures {' or '.join(none)}."
    warm = warming if isinstance(warming, Mapping) else {}
    ours = [str(warm[key]) for name, key in keys if name in missing and key in warm]
    if ours:
        are = "are" if len(set(ours)) > 1 else "is"
        named = " and ".join(dict.fromkeys(ours))
        return f"{named} {are} not reliable yet (warming up)."
    words = [QUANTITIES[name].words for name in missing]
    return f"No reliable reading of {' or '.join(words)} now." if words else ""


def _crosses_soon(status: Mapping[str, Any]) -> bool:
    """Return whether oxygen may be at its limit within the hour, at worst."""
    estimate = status.get("estimate")
    ahead = estimate.get("o2_minutes_to_19_5") if isinstance(estimate, Mapping) else ()
    return any(
        one <= SOON_MIN
        for one in (ahead if isinstance(ahead, list) else ())
        if isinstance(one, int | float)
    )


def _faults(status: Mapping[str, Any]) -> Iterator[str]:
    faults = status.get("faults")
    for text in faults.values() if isinstance(faults, Mapping) else ():
        yield str(text)


def _seen(status: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """Return what is read beyond doubt where people breathe, the least and the most."""
    readings, doubtful = status.get("readings"), status.get("doubtful")
    seen: dict[str, tuple[float, float]] = {}
    if not isinstance(readings, Mapping):
        return seen
    doubts = doubtful if isinstance(doubtful, list) else []
    for key, value in readings.items():
        parts = split_channel(str(key))
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if parts is None or not is_number or not is_breathed(str(key)):
            continue
        if key not in doubts:
            name, number = parts[0].name, float(value)
            low, high = seen.get(name, (number, number))
            seen[name] = min(low, number), max(high, number)
    return seen
