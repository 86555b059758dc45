"""Holds a scenario to the promises, by what could be seen from outside.

It knows the true air, what was made to fail and when, the levels of the lines, the log
and when the process ended; of the watch's own state it knows nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import pairwise
from math import inf

from tests.soak.chaos.draw import DANGER_S, I2C_PARTS, SERIAL_PARTS, Trouble
from tests.soak.chaos.play import Course, Life, twice
from tests.soak.chaos.shared_time import START

SOUND_S = {"co": 0.0, "o2": 5.0 + 13.0}
"""The danger's delay: that of `limits.toml`, and for the oxygen part its own lag: from
20.67 to 16.5 % behind a first order of 13 s, 19.5 % is passed after 4.2 s; the rest is
its noise, filtered.  The CO part of these scenarios has none."""
LATE_S = 10.0
OVERSTAY_S = 60.0
STOP_S = 8.0
SAVED_S, READ_S = 30.0, 30.0
"""A life that has so long has saved something, and has read what was saved before."""
BACK_S = 60.0
"""A part that failed is expected to measure again so long after its trouble."""
SOUNDER_BACK_S = 6.0
"""And a sounder's line to be driven: it is tried again every 5 s."""
GROUP_S, GROUP = 1.0, 4
"""Temporal-four: so many pulses within so long; no other pattern has them."""
SILENT_S = 20.0
"""Between two groups of a danger that stands: three of them."""
ANSWERED_S = 300.0
"""A press of a button that sticks is an answer as a hand's: it quiets a danger for so
long, but no carbon monoxide from 300 ppm."""
FOUND_OUT_S = 10.0
"""A button that is pressed several times a second has been found out by then."""
PORTS = [f"{name}'s port" for name in SERIAL_PARTS]
MEASURE = {"co": ("bunk-co", "door-co"), "o2": ("bunk-o2",)}
CAUSES = {
    "log disk": {"log"},
    "state disk": {"state"},
    "state file": {"state"},
    "broker": {"mqtt"},
    "socket": {"ask"},
    "sounder": {"buzzer"},
    "second": {"second-sounder"},
    "sounder's proof": {"buzzer"},
    "adapter": {"main", *I2C_PARTS},
    "bus": {"main", *I2C_PARTS},
}
"""What a trouble may be told as, where that is not its own name."""
BY_THE_HOUR = "within the hour"
"""In the sentence of a fault that is about the last hour, which is its cause."""
ROUNDED_S = 0.01
"""The log's moments are."""
UNTIL_RESTART = {("state", "restart-needed"), ("spans", "out-of-range")}
"""What was not read at the start is not there until the next one, and says so."""


@dataclass
class Judgement:
    """What became of the promises."""

    broken: list[str] = field(default_factory=list)
    sound_s: dict[str, list[float]] = field(
        default_factory=lambda: {danger: [] for danger in MEASURE}
    )
    """By danger: from its coming, where it could be measured, to the sound."""
    overstay_s: list[float] = field(default_factory=list)
    """Of each fault, beyond its cause."""
    stop_s: list[float] = field(default_factory=list)


def judge(course: Course) -> Judgement:
    """Judge all."""
    found = Judgement()
    found.broken += [f"bug: {bug}" for bug in course.bugs]
    for life in course.lives:
        _stop(course, life, found)
        _sound(course, life, found)
        for name in twice(life.threads):
            if _is_replaced(course, life, name):
                continue
            found.broken.append(f"two threads {name} at {life.asked_s:.0f} s")
    _kept(course, found)
    _faults(course, found)
    return found


REPLACE_S = 60.0
"""A thread that hangs for so long has a second beside it, by design."""
HANGING = {"adapter": "bus-", "pane": "file-", **dict.fromkeys(PORTS, "port-")}


def _is_replaced(course: Course, life: Life, name: str) -> bool:
    """Whether what a thread of this name waits for hangs for long at the stop."""
    return any(
        one.fault == "hang"
        and name.startswith(HANGING.get(one.part, "no thread"))
        and max(one.from_s, life.start_s) + REPLACE_S <= life.asked_s < one.to_s
        for one in course.scenario.troubles
    )


# --- stops ---------------------------------------------------------------------------


def _stop(course: Course, life: Life, found: Judgement) -> None:
    took_s = life.ended_s - life.asked_s
    found.stop_s.append(took_s)
    if took_s > STOP_S:
        found.broken.append(f"the stop at {life.asked_s:.0f} s took {took_s:.1f} s")
    for name in life.high:
        if not _holds(course, {name}, life.asked_s, life.ended_s):
            found.broken.append(f"{name} is left high at {life.ended_s:.0f} s")


def _holds(course: Course, names: set[str], from_s: float, to_s: float) -> bool:
    """Whether any of these fails at any time between."""
    return any(
        one.part in names and one.from_s < to_s and from_s < one.to_s
        for one in course.scenario.troubles
    )


# --- what is kept --------------------------------------------------------------------


def _kept(course: Course, found: Judgement) -> None:
    """Hold each start to what the life before saved, though the disk erred then."""
    for before, life in pairwise(course.lives):
        is_unseen = (
            _holds(course, {"state file"}, 0.0, life.asked_s)
            or _holds(course, {"log disk"}, life.start_s, life.asked_s)
            or _holds(course, {"state disk"}, before.start_s, before.start_s + SAVED_S)
            or _holds(course, {"state disk"}, life.asked_s - READ_S, life.asked_s)
        )
        if is_unseen or before.asked_s - before.start_s < SAVED_S:
            continue
        begins = START + timedelta(seconds=life.start_s - ROUNDED_S)
        ends = START + timedelta(seconds=life.asked_s)
        starts = [
            line
            for line in course.lines
            if line.event == "start" and line.wall and begins <= line.wall <= ends
        ]
        if not any("kept" in line.fields for line in starts):
            found.broken.append(f"what was kept is lost at {life.start_s:.0f} s")


# --- sounds --------------------------------------------------------------------------


def _rises(course: Course, name: str) -> list[float]:
    pin = course.pins.get(name)
    return [at_s for at_s, level in pin.changes if level] if pin else []


def _groups(course: Course) -> list[float]:
    """Return when a whole group of temporal-four had sounded, on any sounder."""
    return sorted(
        last_s
        for rises in (_rises(course, "sounder"), _rises(course, "second"))
        for first_s, last_s in zip(rises, rises[GROUP - 1 :], strict=False)
        if last_s - first_s <= GROUP_S
    )


def _works(
    course: Course, life: Life, names: set[str], at_s: float, back_s: float
) -> bool:
    """Whether what hangs on these works, and has had time to come back."""
    from_s = max(life.start_s, at_s - back_s)
    return not _holds(course, names, from_s, at_s + 0.001)


def _hears(course: Course, life: Life, at_s: float) -> bool:
    """Whether the watch can measure the danger and sound, at a moment."""
    scenario = course.scenario
    parts = [
        part
        for part in MEASURE[scenario.danger]
        if part != "door-co" or scenario.has_two_co
    ]
    measures = any(
        _works(course, life, {part, f"{part}'s port"}, at_s, BACK_S) for part in parts
    )
    lines = [{"sounder", "sounder's proof"}]
    if scenario.has_second:
        lines.append({"second"})
    return measures and any(
        _works(course, life, names, at_s, SOUNDER_BACK_S) for names in lines
    )


def _is_answered(course: Course, life: Life, at_s: float) -> bool:
    """Whether the button, in its trouble, may have quieted the danger."""
    if course.scenario.danger != "o2":
        return False
    recent = [
        one
        for one in course.scenario.troubles
        if one.part == "button" and at_s - ANSWERED_S <= one.to_s and one.from_s <= at_s
    ]
    floods = [
        one
        for one in recent
        if one.fault == "flood" and one.to_s - one.from_s >= FOUND_OUT_S
    ]
    if len(floods) < len(recent):
        return True
    began_s = [max(one.from_s, life.start_s) for one in floods]
    return any(at_s - from_s <= FOUND_OUT_S for from_s in began_s)


def _sound(course: Course, life: Life, found: Judgement) -> None:
    scenario = course.scenario
    if not scenario.danger:
        return
    from_s = max(scenario.danger_s, life.start_s)
    to_s = min(scenario.danger_s + DANGER_S, life.asked_s)
    allowed_s = SOUND_S[scenario.danger] + LATE_S
    groups = [one for one in _groups(course) if from_s <= one <= to_s]
    last_s, heard_s = from_s, from_s
    is_first = True
    # Looked at each half second: the time in which it could be heard, and was not.
    at_s = from_s
    while at_s < to_s:
        if _is_answered(course, life, at_s) or not _hears(course, life, at_s):
            heard_s = at_s
            is_first = False
        limit_s = allowed_s if last_s == from_s else SILENT_S
        while groups and groups[0] <= at_s:
            last_s = groups.pop(0)
        if at_s - max(last_s, heard_s) > limit_s:
            found.broken.append(
                f"{scenario.danger} since {scenario.danger_s:.0f} s is not heard at "
                f"{at_s:.0f} s, {limit_s:.0f} s after {max(last_s, heard_s):.1f} s"
            )
            return
        at_s += 0.5
    first = [one for one in _groups(course) if from_s <= one <= to_s]
    if first and is_first:
        found.sound_s[scenario.danger].append(first[0] - from_s)


# --- faults --------------------------------------------------------------------------


@dataclass
class _Fault:
    source: str
    kind: str
    text: str
    from_s: float
    to_s: float = inf


def _told(course: Course) -> Iterator[_Fault]:
    """Read the faults from the log; a kind that gives way to another goes on."""
    number = 0
    standing: dict[str, _Fault] = {}
    for line in course.lines:
        # By the moment, not by the starts: a disk that hangs loses a life's lines.
        if line.wall is not None:
            wall_s = (line.wall - START).total_seconds() + 0.5
            while number + 1 < len(course.lives) and wall_s > (
                course.lives[number + 1].start_s
            ):
                yield from _ended(standing, _logged_until_s(course, number))
                number += 1
        if line.event != "fault" or line.fields["kind"] == "refused":
            continue
        at_s = course.lives[number].start_s + line.up_s
        source, kind = line.fields["source"], line.fields["kind"]
        old = standing.pop(source, None)
        if old is not None:
            old.to_s = at_s
            yield old
        if kind != "ok":
            standing[source] = _Fault(source, kind, line.fields["text"], at_s)
    yield from _ended(standing, _logged_until_s(course, -1))


def _logged_until_s(course: Course, number: int) -> float:
    """Return until when the log could tell the end of a fault in a life.

    What waits for a disk that fails until the end of the process is never written.
    """
    asked_s = course.lives[number].asked_s
    failing = [
        one.from_s
        for one in course.scenario.troubles
        if one.part == "log disk" and one.from_s < asked_s < one.to_s
    ]
    return min([asked_s, *failing])


def _ended(standing: dict[str, _Fault], at_s: float) -> Iterator[_Fault]:
    for fault in standing.values():
        fault.to_s = max(fault.from_s, at_s)
        yield fault
    standing.clear()


def _is_told_as(one: Trouble, course: Course, source: str) -> bool:
    if one.part in CAUSES:
        return source in CAUSES[one.part]
    if one.part in I2C_PARTS and one.fault in ("hold", "stall"):
        return source in {"main", *I2C_PARTS}
    return source == one.part.removesuffix("'s port")


def _causes(course: Course, source: str) -> list[tuple[float, float]]:
    spans = [
        (one.from_s, one.to_s)
        for one in course.scenario.troubles
        if _is_told_as(one, course, source)
    ]
    if source == "settings":
        reloads = course.scenario.reloads
        for (at_s, config), after in zip(
            reloads, [*(at for at, _ in reloads[1:]), inf], strict=True
        ):
            if not config.is_good:
                spans.append((at_s - ROUNDED_S, after))
    garbled = any(one.part == "state file" for one in course.scenario.troubles)
    if source == "state" and garbled:  # what was found so is told at the next start
        starts = [life.start_s for life in course.lives[1:]]
        spans += [(start_s, start_s + 1.0) for start_s in starts]
    return spans


def _faults(course: Course, found: Judgement) -> None:
    for fault in _told(course):
        is_till_restart = (fault.source, fault.kind) in UNTIL_RESTART
        if BY_THE_HOUR in fault.text or is_till_restart:
            continue
        spans = _causes(course, fault.source)
        reach_s, over_s = fault.from_s, 0.0
        causes = sorted(span for span in spans if span[0] <= fault.to_s)
        before = [end for _, end in causes if end <= fault.from_s]
        last_s = max(before, default=-inf)
        while reach_s < fault.to_s:
            now = [end for start, end in causes if start <= reach_s < end]
            if now:
                reach_s = last_s = max(now)
                continue
            later = min((s for s, _ in causes if s > reach_s), default=inf)
            reach_s = min(later, fault.to_s)
            over_s = max(over_s, reach_s - last_s)
        found.overstay_s.append(over_s if over_s < inf else 0.0)
        if over_s == inf:
            found.broken.append(
                f"{fault.source} {fault.kind} from {fault.from_s:.0f} to "
                f"{fault.to_s:.0f} s has no cause"
            )
        elif over_s > OVERSTAY_S:
            found.broken.append(
                f"{fault.source} {fault.kind} from {fault.from_s:.0f} to "
                f"{fault.to_s:.0f} s outlives its cause by {over_s:.0f} s"
            )
