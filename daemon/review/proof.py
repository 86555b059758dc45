"""What a night's own alarms and sensors say against calling it safe, or safer."""

from collections.abc import Iterable, Iterator

from cabinvigil.daemon.log.night import STEP_S
from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode
from cabinvigil.daemon.review.health import seen_steps, still_at_nothing
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.verdict import (
    UNKNOWN,
    UNSEEN,
    rang_in_words,
    unseen_allowed_min,
)
from cabinvigil.daemon.text.durations import minutes as spelled
from cabinvigil.drivers.kit.quantity import QUANTITIES, VITAL

NOT_ALL_SEEN = "not all of it was monitored"
CERTIFIED = frozenset(f"contact-{means}" for means in ("smoke", "gas", "co"))
"""The alarms by which a certified one speaks: it may have tasted what ours do not."""
FORECASTS = ("o2-projected", "o2-falling", "co2-projected")
"""Alarms by what is about to happen."""
NOT_BREATHED = ("contact-bilge", "hot", "cold")
"""Alarms about the cabin that wake people, and say nothing of the vents."""


def unproved(
    found: Morning, from_s: float, to_s: float, part: slice, *, is_trial: bool
) -> str:
    """Return what our own air cannot speak against, or was not there to say."""
    tape = found.tape
    for one in rang_between(found.rang, from_s, to_s):
        if one.alarm in CERTIFIED:
            return rang_in_words(one.alarm)
    left_out = frozenset[int]() if is_trial else tape.left_out
    whole_min = (part.stop - part.start) * STEP_S / 60.0
    steps = [n for n in range(part.start, part.stop) if n not in left_out]
    in_trials_min = whole_min - len(steps) * STEP_S / 60.0
    if in_trials_min > unseen_allowed_min(whole_min):
        return f"{spelled(in_trials_min)} of it were trials"
    allowed_min = unseen_allowed_min(len(steps) * STEP_S / 60.0)
    for name in VITAL:
        seen = seen_steps(tape, found.rang, name)
        unseen = sum(1 for step in steps if not seen[step])
        unseen_min = unseen * STEP_S / 60.0
        if unseen and unseen == len(steps):
            return f"{QUANTITIES[name].words} was never measured beyond doubt"
        if unseen_min > allowed_min:
            return f"{QUANTITIES[name].words} was not known for {spelled(unseen_min)}"
    keys = tape.keys("co_ppm")
    if keys and set(keys) <= set(still_at_nothing(tape)):
        return "carbon monoxide was read as 0 all along while carbon dioxide rose"
    is_night = not is_trial and (from_s, to_s) == (0.0, tape.length_s)
    return NOT_ALL_SEEN if is_night and found.verdict.word in (UNSEEN, UNKNOWN) else ""


def woken(found: Morning, from_s: float, to_s: float) -> tuple[str, bool]:
    """Return what woke people, a limit before a forecast; and whether that is one."""
    woke = [
        one.alarm
        for one in rang_between(found.rang, from_s, to_s)
        if one.is_about_air
        and one.alarm not in NOT_BREATHED
        and one.rank >= RANKS["medium"]
    ]
    woke.sort(key=lambda alarm: alarm in FORECASTS)
    return (rang_in_words(woke[0]), woke[0] in FORECASTS) if woke else ("", False)


def rang_between(
    rang: Iterable[AlarmEpisode], from_s: float, to_s: float
) -> Iterator[AlarmEpisode]:
    """Yield what sounded within a stretch."""
    for one in rang:
        end_s = to_s if one.to_s is None else one.to_s
        if one.from_s < to_s and end_s > from_s:
            yield one


def past(found: Morning, from_s: float, to_s: float, beyond_min: float) -> str:
    """Name what was past a limit that wakes people, or sounded as a danger."""
    if beyond_min > 0.0:
        return "air past a waking limit"
    for one in rang_between(found.rang, from_s, to_s):
        if one.is_about_air and one.rank >= RANKS["high"]:
            return rang_in_words(one.alarm)
    blood = [one for one in found.near if one.limit.quantity == "cohb_pct"]
    for approach in blood:
        is_grave = RANKS.get(approach.limit.priority, 0) >= RANKS["medium"]
        if approach.margin <= 0.0 and is_grave and from_s <= approach.at_s <= to_s:
            return "carbon monoxide in the blood"
    return ""
