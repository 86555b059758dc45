"""Before bed: what is well, what to mind, what is not; pure.

Each check gives findings; one that is bad makes the whole not ready.  What was not
checked is said as that, and never as well: nothing then proves that anybody would wake.
"""

from collections import Counter
from collections.abc import Collection, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.service.host import COOL_C, HOT_C
from cabinvigil.daemon.text.moments import day_and_time
from cabinvigil.daemon.text.units_retold import retold
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers.kit.quantity import QUANTITIES, VITAL

Word = Literal["good", "mind", "bad", "not checked"]

NIGHT_HOURS = 9.0
"""The supply must last for so long where nobody says otherwise (design.md, budgets)."""
NIGHT_MB = 5.0
"""A night's log at the most (design.md, section 9)."""
NIGHTS_OF_ROOM = 7
PART_ALARMS = (
    *("sensor-fault", "sensor-stale", "sensor-range", "sensor-jump", "sensor-stuck"),
    *("sensor-implausible", "sensor-warming", "sensor-service"),
)
"""Told at the part that they are about."""
ASIDE = {"shelved": "shelved", "out-of-service": "out of service"}
"""What a person did; a suppressed alarm's cause is told by another."""
SHOWN = {"buzzer": "sounder", "supply": "power", "watch": "monitor"}
"""Subjects that people know by another word."""
MAY_STAY_UNCHECKED = frozenset({"computer"})
"""Without these a night may begin: a machine that tells no temperature still wakes."""
FELLOW_ALARMS = ("sensors-disagree", "gases-disagree", "stratified")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at."""

    subject: str
    word: Word
    text: str


@dataclass(frozen=True)
class WatchStatus:
    """What the monitor says of itself, running or for the minute of the check."""

    readings: Mapping[str, float]
    """Fresh values, by series."""
    doubtful: frozenset[str]
    """Series that are not to be relied on."""
    alarms: Mapping[str, tuple[str, str]]
    """What stands: (priority, sentence), by the alarm's id."""
    faults: Mapping[str, str]
    """Sources at fault, with their sentences."""
    supply_hours: float | None = None
    runs: bool = False
    """The monitor itself was asked."""
    is_rehearsal: bool = False
    """What answered plays a night on emulated parts."""
    aside: Mapping[str, str] = field(default_factory=dict)
    """Alarms that somebody put aside, with the word for it."""
    trial: str = ""
    """What is tried with nobody inside; '' where no trial is open."""


def status_of(
    answer: Mapping[str, Any], *, runs: bool, answered: Container[str] = ()
) -> WatchStatus:
    """Read what `status` answers.

    Args:
        answer: of the monitor.
        runs: whether that is the monitor itself.
        answered: what a test sounded, and is no finding while it stays answered.

    Raises:
        KeyError, TypeError, ValueError: it is another version's.
    """
    standing, aside = {}, {}
    for one in answer["alarms"]:
        if one["state"] == "acknowledged" and str(one["alarm"]) in answered:
            continue
        if one["state"] in ("unacknowledged", "acknowledged"):
            standing[str(one["alarm"])] = (str(one["priority"]), str(one["text"]))
        elif one["state"] in ASIDE:
            aside[str(one["alarm"])] = ASIDE[one["state"]]
    hours = answer.get("supply_hours")
    return WatchStatus(
        {str(key): float(value) for key, value in answer["readings"].items()},
        frozenset(answer.get("doubtful", ())),
        standing,
        {str(key): str(text) for key, text in answer["faults"].items()},
        None if hours is None else float(hours),
        runs,
        answer.get("emulated") is True,
        aside,
        str((answer.get("trial") or {}).get("text", "")),
    )


def word_for(priority: str) -> Word:
    """Return how an alarm that is active weighs before bed: `low` is told, no more."""
    return "mind" if priority == "low" else "bad"


def watch(status: WatchStatus, *, is_emulated: bool) -> Iterator[Finding]:
    """Report that no monitor runs, or that what answers is none."""
    if not status.runs and not is_emulated:
        text = (
            "the monitor is not running: `sudo systemctl start cabinvigil`, then "
            "check again; now nothing would wake you"
        )
        yield Finding("watch", "bad", text)
    if status.trial:
        text = (
            f"the trial '{status.trial}' is open, and the second phone gets no "
            "message: `cabinvigil trial end`, then air the cabin"
        )
        yield Finding("trial", "bad", text)
    if status.is_rehearsal:
        text = (
            "a rehearsal responds, with emulated sensors: nothing monitors the "
            "cabin; end it and start the monitor"
        )
        yield Finding("watch", "bad", text)


def air(status: WatchStatus) -> Iterator[Finding]:
    """Report every alarm that is active now and is no part's own."""
    own = (*PART_ALARMS, *FELLOW_ALARMS, "watch-fault", "supply-low")
    standing = {
        alarm: told
        for alarm, told in status.alarms.items()
        if alarm.partition("/")[0] not in own
    }
    for alarm, (priority, text) in standing.items():
        yield Finding(alarm, word_for(priority), text)
    for alarm, word in status.aside.items():
        yield Finding(alarm, "mind", f"It is {word}: it will not sound.")
    measured_now = {channel_of_key(key) for key in _relied_on(status)}
    missing = [QUANTITIES[q].words for q in VITAL if q not in measured_now]
    if standing:
        return
    if missing:
        text = f"no alarm is active, but {' and '.join(missing)}: not measured now"
        yield Finding("air", "not checked", text)
    else:
        yield Finding("air", "good", "no alarm is active")


def channel_of_key(key: str) -> str:
    """Return what a series measures, without the part that does."""
    return key.split("__")[0]


def _relied_on(status: WatchStatus) -> set[str]:
    """Return the series that are measured now, beyond doubt."""
    return set(status.readings) - status.doubtful


def fellows(status: WatchStatus, shared: Collection[str]) -> Iterator[Finding]:
    """Report where parts disagree, and how many could be compared.

    Args:
        status: what the monitor says.
        shared: the quantities that two parts or more measure at one place.
    """
    counts = Counter(channel_of_key(key) for key in _relied_on(status))
    compared = sum(counts[channel] >= 2 for channel in shared)
    found = False
    for alarm, (priority, text) in status.alarms.items():
        if alarm.partition("/")[0] in FELLOW_ALARMS:
            found = True
            yield Finding("agreement", word_for(priority), text)
    if found or not shared:
        return
    if compared:
        of = "" if compared == len(shared) else f" of {len(shared)}"
        text = f"sensors agree on {compared}{of} shared quantities"
        rest = "; the others have only one sensor now" if of else ""
        yield Finding("agreement", "good", text + rest)
    else:
        text = "no quantity has two sensors now: nothing to compare"
        yield Finding("agreement", "not checked", text)


def measured(quantities: Iterable[str]) -> Iterator[Finding]:
    """Report which of the gases that kill quickly nothing measures."""
    has = set(quantities)
    for quantity in VITAL:
        if quantity not in has:
            words = QUANTITIES[quantity].words
            yield Finding(
                words,
                "bad",
                (
                    f"nothing measures {words} where people breathe: add a sensor that "
                    "does"
                ),
            )


def host_faults(status: WatchStatus, told: Iterable[str]) -> Iterator[Finding]:
    """Report the monitor's own faults, but those that a check of its own tells."""
    for source, text in status.faults.items():
        if source not in told:
            yield Finding(source, "bad", text)


def log(
    status: WatchStatus,
    free_mb: float | None,
    write_error: str,
    folder: str,
    held_mb: float = 0.0,
    max_mb: float = float("inf"),
) -> Finding:
    """Judge the log: writable, and room for a week.

    Args:
        status: the running monitor writes it itself, and tells if it cannot.
        free_mb: on its disk; None where that cannot be told.
        write_error: why a trial did not succeed; '' where it did, or none was made.
        folder: where it is.
        held_mb: by all nights together.
        max_mb: what they may hold.
    """
    if "log" in status.faults:
        return Finding("log", "bad", status.faults["log"])
    if write_error:
        return Finding("log", "bad", f"{folder} cannot be written: {write_error}")
    if free_mb is None:
        return Finding(
            "log", "bad", f"{folder} does not exist: create it, or mount its disk"
        )
    need_mb = NIGHTS_OF_ROOM * NIGHT_MB
    text = f"writable, {free_mb:.0f} MB free (a week takes {need_mb:.0f})"
    if free_mb < need_mb:
        return Finding("log", "bad", f"{text}: free some space")
    if held_mb > max_mb - NIGHT_MB:
        full = f"the nights fill {held_mb:.0f} of {max_mb:g} MB"
        mend = "copy what you need to keep, or raise max_mb in [log]"
        return Finding("log", "mind", f"{full}: the oldest are deleted; {mend}")
    return Finding("log", "good", text)


def clock(wall: datetime, *, is_synchronised: bool | None) -> Finding:
    """Judge the clock: alarms do not depend on it, the log's and the spans' days do."""
    shown = day_and_time(wall)
    if wall < EARLIEST:
        return Finding(
            "clock", "bad", f"{shown} is long past: set it, or join a network"
        )
    if is_synchronised:
        return Finding("clock", "good", f"{shown}, set by the network")
    text = f"{shown}; not set by the network, compare it with another clock"
    return Finding("clock", "mind", text)


def computer(
    cpu_c: float | None, *, is_under_volted: bool | None, units: Units = SI
) -> Finding:
    """Judge the machine under the monitor."""
    if is_under_volted:
        text = "its 5 V power supply sags: check its cable and converter"
        return Finding("computer", "bad", text)
    if cpu_c is None:
        return Finding("computer", "not checked", "no temperature reading")
    heat = units.said("c", cpu_c)
    if cpu_c >= HOT_C:
        return Finding("computer", "bad", f"{heat}, it slows itself down: cool it")
    if cpu_c >= COOL_C:
        return Finding("computer", "mind", f"{heat}, near its limit: cool it")
    return Finding("computer", "good", heat)


def limits(laxer: Sequence[str], units: Units = SI) -> Iterator[Finding]:
    """Say aloud what is less strict than published, each by itself."""
    for text in laxer:
        said = retold(text, units)
        yield Finding("limits", "mind", f"less strict than published: {said}")
    if not laxer:
        yield Finding("limits", "good", "none is less strict than published")


def shown(subject: str) -> str:
    """Return a subject as people read it; programs get the config's own word."""
    return SHOWN.get(subject, subject)


def is_ready(findings: Iterable[Finding]) -> bool:
    """Return whether nothing is bad, and whatever can kill was checked."""
    found = list(findings)
    return not _unproved(found) and all(one.word != "bad" for one in found)


def _unproved(findings: Iterable[Finding]) -> list[str]:
    """List what was not checked, and must be before anybody sleeps."""
    return [
        one.subject
        for one in findings
        if one.word == "not checked" and one.subject not in MAY_STAY_UNCHECKED
    ]


def verdict(findings: Sequence[Finding]) -> str:
    """Return the whole in one sentence: ready, not ready, or not fully checked."""
    bad = [shown(one.subject) for one in findings if one.word == "bad"]
    left = [shown(one.subject) for one in findings if one.word == "not checked"]
    without = f" Not checked: {', '.join(left)}." if left else ""
    if bad:
        return f"NOT READY: {', '.join(dict.fromkeys(bad))}.{without}"
    minded = sum(one.word == "mind" for one in findings)
    mind = f" {minded} to check." if minded else ""
    unproved = [shown(one) for one in _unproved(findings)]
    if unproved:
        return f"NOT FULLY CHECKED: {', '.join(unproved)}.{mind}"
    return f"READY for the night.{mind}{without}"
