"""What would have rung with other limits: alarms gained, lost, earlier, later."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any, Literal

from cabinvigil.daemon.core.model import AlarmState, Transition
from cabinvigil.daemon.review.logbook import Logbook, moment
from cabinvigil.daemon.review.recording import RecordingError
from cabinvigil.daemon.review.replay import Decided, replay_log
from cabinvigil.daemon.review.spoken import CLOCK
from cabinvigil.daemon.settings import Settings, from_plain
from cabinvigil.daemon.settings_read import read_toml
from cabinvigil.daemon.words_loading import renderer

Change = Literal["gained", "lost", "earlier", "later", "same"]
SAME_S = 10.0
"""Rings this close are the same ring (the trend's own step)."""
PAIRED_S = 2 * 3600.0
"""Rings of one alarm further apart than this are two events."""


@dataclass(frozen=True, slots=True)
class Row:
    """One ring, as it was and as it would have been."""

    night: str
    alarm: str
    change: Change
    was_s: float | None
    """From the night's first line; None: it did not ring."""
    would_s: float | None
    priority: str
    """The highest it had, under the limits that rang."""
    begins: datetime | None
    """The moment of the night's first line."""

    @property
    def moved_min(self) -> float | None:
        """Minutes later (negative: earlier); None where it rang once only."""
        if self.was_s is None or self.would_s is None:
            return None
        return (self.would_s - self.was_s) / 60.0


def table(paths: Iterable[Path], limits: Path) -> Iterator[Row]:
    """Replay each night with its own limits and with others.

    Args:
        paths: the nights' logs.
        limits: a limits file; a key that it does not name stays as it was.

    Raises:
        RecordingError: a log cannot be replayed.
        ConfigError: the limits have a mistake.
    """
    other = read_toml(limits, str(limits)).get("alarm", {})
    for path in paths:
        yield from _night(path, other, limits)


def _night(path: Path, other: Any, limits: Path) -> Iterator[Row]:
    config, begins = _head(path)
    settings = _with(config, other, str(limits))
    language = settings.watch.language
    render = renderer(language)
    own = _rings(replay_log(Logbook(path), None, render, path))
    would = _rings(replay_log(Logbook(path), settings, render, path))
    name = path.name.split(".jsonl")[0]
    for alarm in dict.fromkeys([*own, *would]):
        for was, now in _paired(own.get(alarm, []), would.get(alarm, [])):
            yield _row(name, alarm, was, now, begins)


def _head(path: Path) -> tuple[Mapping[str, Any], datetime | None]:
    """Read the config that ran, and the moment of the first line."""
    try:
        for rows in Logbook(path).batches():
            for row in rows:
                config = row.get("config")
                if row["event"] == "start" and isinstance(config, dict):
                    return config, moment(row.get("t"))
    except OSError as error:
        raise RecordingError(f"{path}: cannot be read ({error.strerror})") from error
    raise RecordingError(
        f"{path}: has no start record that tells what ran; give a night's own log"
    )


def _with(config: Mapping[str, Any], other: Any, file: str) -> Settings:
    """Put other limits into a config."""
    alarms = dict(config.get("alarm", {}))
    for name, changes in other.items() if isinstance(other, Mapping) else ():
        before = alarms.get(name)
        both = isinstance(before, Mapping) and isinstance(changes, Mapping)
        alarms[name] = {**before, **changes} if both else changes  # type: ignore[dict-item]
    return from_plain({**config, "alarm": alarms}, file)


@dataclass(slots=True)
class _Ring:
    at_s: float
    priority: Any


def _rings(decided: Decided) -> dict[str, list[_Ring]]:
    """List when each alarm was raised, and how high it went."""
    rings: dict[str, list[_Ring]] = {}
    for time_s, commands in decided:
        for command in commands:
            if not isinstance(command, Transition):
                continue
            if command.state is not AlarmState.UNACKNOWLEDGED:
                continue
            listed = rings.setdefault(command.alarm, [])
            if command.was is AlarmState.UNACKNOWLEDGED and listed:
                listed[-1].priority = max(listed[-1].priority, command.priority)
            else:
                listed.append(_Ring(time_s, command.priority))
    return rings


def _paired(
    own: list[_Ring], would: list[_Ring]
) -> Iterator[tuple[_Ring | None, _Ring | None]]:
    """Pair rings in order; what has no fellow near stands alone."""
    left, right = list(own), list(would)
    while left or right:
        if left and right and abs(left[0].at_s - right[0].at_s) <= PAIRED_S:
            yield left.pop(0), right.pop(0)
        elif right and (not left or right[0].at_s < left[0].at_s):
            yield None, right.pop(0)
        else:
            yield left.pop(0), None


def _row(
    night: str,
    alarm: str,
    was: _Ring | None,
    now: _Ring | None,
    begins: datetime | None,
) -> Row:
    change: Change = "same"
    if was is None or now is None:
        change = "gained" if was is None else "lost"
    elif abs(now.at_s - was.at_s) > SAME_S:
        change = "earlier" if now.at_s < was.at_s else "later"
    ring = now or was
    return Row(
        night,
        alarm,
        change,
        None if was is None else was.at_s,
        None if now is None else now.at_s,
        "" if ring is None else ring.priority.word,
        begins,
    )


def lines(rows: Iterable[Row], zone: tzinfo | None = None) -> Iterator[str]:
    """Write the rows as a table; what stays the same is counted alone."""
    same, shown = 0, 0
    for row in rows:
        if row.change == "same":
            same += 1
            continue
        if not shown:
            yield f"{'night':<18} {'alarm':<22} {'rang':<6} {'would':<6} change"
        shown += 1
        times = f"{_clock(row, row.was_s, zone):<6} {_clock(row, row.would_s, zone):<6}"
        moved = row.moved_min
        tail = row.change if moved is None else f"{abs(moved):.1f} min {row.change}"
        yield f"{row.night:<18} {row.alarm:<22} {times} {tail} ({row.priority})"
    yield (
        f"{shown} changed, {same} the same."
        if shown
        else f"Nothing changes: {same} the same."
    )


def _clock(row: Row, at_s: float | None, zone: tzinfo | None) -> str:
    if at_s is None:
        return "-"
    if row.begins is None:
        whole = round(at_s / 60.0)
        return f"+{whole // 60}:{whole % 60:02}"
    wall = datetime.fromtimestamp(row.begins.timestamp() + at_s, row.begins.tzinfo)
    return wall.astimezone(zone).strftime(CLOCK)


def as_json(row: Row) -> dict[str, Any]:
    """Give a row as one JSON object."""
    return {
        "night": row.night,
        "alarm": row.alarm,
        "change": row.change,
        "was_s": row.was_s,
        "would_s": row.would_s,
        "moved_min": None if row.moved_min is None else round(row.moved_min, 2),
        "priority": row.priority,
    }
