"""A recorded night through the same decisions: CSV, or a night's own log."""

from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

from cabinvigil.daemon.compose.compose import column_age_s, compose_columns
from cabinvigil.daemon.core.contacts import DOOR
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    AlarmState,
    Command,
    Event,
    Priority,
    SourceFault,
    SourceOk,
    Transition,
)
from cabinvigil.daemon.core.setup import Render
from cabinvigil.daemon.log.csv import Recording, RecordingError
from cabinvigil.daemon.log.format import REFUSED_ASK, STATE
from cabinvigil.daemon.log.reader import LogLine
from cabinvigil.daemon.replay.replayed import (
    Choose,
    Narrow,
    Note,
    Replayed,
    unsaid,
    whole,
)
from cabinvigil.daemon.settings.config import Settings, from_plain
from cabinvigil.drivers.kit.quantity import split_channel

NEW_HOLE_S = 1800.0
"""Of a hole: what is silent so long has rung as that; the slowest waits 15 minutes."""
OLD_HOLE_STEP_S = 30.0
"""Between two looks at an older one (our choice)."""
LONGEST_HOLE_S = 86400.0

Decided = Iterator[tuple[float, list[Command]]]
"""(time in s, the commands of that step), in order."""


def is_log(path: Path) -> bool:
    """Return whether a file is a night's log, by its name."""
    return ".jsonl" in path.name


def replay_columns(recording: Recording, settings: Settings, render: Render) -> Decided:
    """Replay a CSV recording with these settings' limits and cabin."""
    step_s = recording.step_s()
    composed = compose_columns(
        recording.channels,
        step_s,
        settings.cabin,
        settings.alarms,
        render,
    )
    state: State | None = None
    before_s = 0.0
    for row in recording.rows():
        if state is None:
            state = start(composed.setup, row.time_s)
        else:
            for silent_s in ticks_of_a_hole(before_s, row.time_s, step_s):
                state, commands = step(state, Air({}), silent_s)
                yield silent_s, commands
        before_s = row.time_s
        state, commands = step(state, Air(row.values), row.time_s)
        yield row.time_s, commands


def ticks_of_a_hole(from_s: float, to_s: float, step_s: float) -> Iterator[float]:
    """Yield the moments between two rows at which a monitor would have judged silence.

    None where they are no further apart than a value stays fresh.  What is silent for a
    day has sounded all that it can.

    Args:
        from_s: the row before.
        to_s: the row after.
        step_s: the usual step.
    """
    if to_s - from_s <= column_age_s(step_s):
        return
    at_s, last_s = from_s + step_s, min(to_s, from_s + LONGEST_HOLE_S)
    while at_s < last_s:
        yield at_s
        is_new = at_s - from_s < NEW_HOLE_S
        at_s += step_s if is_new else max(step_s, OLD_HOLE_STEP_S)


def event_of(line: LogLine) -> Event | None:
    """Read one log line back as the event it tells of; None where it tells of none."""
    fields = line.fields
    match line.event:
        case "air":
            return _air(fields)
        case "fault":
            source, kind = str(fields.get("source", "")), str(fields.get("kind", ""))
            if kind == "ok":
                return SourceOk(source)
            if (source, kind) == REFUSED_ASK:
                return None
            return SourceFault(source, kind, str(fields.get("text", "")))
        case "mark":
            text, by = str(fields.get("text", "")), str(fields.get("by", ""))
            if by == DOOR:
                return None  # the readings themselves tell it again
            return Act(ActKind.MARK, by=by, text=text)
        case "act":
            return _act(fields)
        case _:
            return None


def _air(fields: dict[str, Any]) -> Air:
    values = {
        key: float(value)
        for key, value in fields.items()
        if isinstance(value, int | float)
        and not isinstance(value, bool)
        and split_channel(key) is not None
    }
    return Air(values, _names(fields, "at_least"), _names(fields, "doubtful"))


def _names(fields: dict[str, Any], key: str) -> frozenset[str]:
    found = fields.get(key)
    if not isinstance(found, list):
        return frozenset()
    return frozenset(name for name in found if isinstance(name, str))


def _act(fields: dict[str, Any]) -> Act | None:
    try:
        kind = ActKind(fields.get("act"))
        for_s, age_s = (float(fields.get(key, 0.0)) for key in ("for_s", "age_s"))
    except (TypeError, ValueError):
        return None
    return Act(
        kind,
        str(fields.get("alarm", "")),
        str(fields.get("by", "")),
        str(fields.get("text", "")),
        for_s,
        age_s,
    )


def replay_log(
    logbook: Iterable[LogLine],
    settings: Settings | None,
    render: Render,
    path: Path,
    choose: Choose | None = None,
    *,
    is_tried: bool = False,
    narrow: Narrow = whole,
    note: Note = unsaid,
) -> Decided:
    """Replay a night's log, each start with the settings that it was run with.

    Args:
        logbook: the open log.
        settings: stand in for those in the log; None: each start has its own.
        render: makes the sentences.
        path: for messages.
        choose: makes each start's own settings; other limits may be put in here.
        is_tried: other limits are put in: where a file goes on with the one before,
            what these have sounded so far stands, not what the log says.
        narrow: leaves out what nobody asks of the replay.
        note: told what the log does not say and a replay would need.

    Raises:
        RecordingError: the log has no start record, and no settings were given.
    """
    choose = choose or partial(from_plain, note=note)
    replayed = Replayed(
        settings, render, choose, is_tried=is_tried, narrow=narrow, note=note
    )
    for line in logbook:
        if line.event == "start":
            said = replayed.begin(line)
            if said is not None:
                yield replayed.time_s, said
        elif line.event == STATE:
            replayed.take_piece(line)
        elif (event := event_of(line)) is not None:
            if replayed.state is None:
                raise RecordingError(
                    f"{path}: has no start record of what ran; add --config FILE with "
                    "the cabin's settings"
                )
            said = replayed.step(event, line.up_s)
            yield replayed.time_s, said


def logged(logbook: Iterable[LogLine]) -> Decided:
    """Yield what a night's log itself says of its alarms, in a replay's own time."""
    offset_s = last_s = 0.0
    for line in logbook:
        commands: list[Command] = []
        if line.event == "start":
            if line.up_s < last_s:
                offset_s, last_s = offset_s + last_s, line.up_s
        elif line.event == "alarm":
            commands = list(_transition(line.fields))
        elif event_of(line) is None:
            continue
        last_s = max(last_s, line.up_s)
        yield offset_s + last_s, commands


def _transition(fields: dict[str, Any]) -> Iterator[Transition]:
    """Read an alarm's line back; nothing where it is none."""
    try:
        state, was = (AlarmState(fields[key]) for key in ("state", "was"))
        priority = Priority[str(fields["priority"]).upper()]
    except (KeyError, ValueError):
        return
    yield Transition(str(fields.get("alarm", "")), state, was, priority, "", 0.0)
