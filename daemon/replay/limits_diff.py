"""What would have sounded with other limits: alarms gained, lost, earlier, later."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.core.model import AlarmState, Transition
from cabinvigil.daemon.log.csv import Recording, RecordingError
from cabinvigil.daemon.log.moments import zone_of
from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.log.run import bump_until_s
from cabinvigil.daemon.log.trial_span import TrialSpan, opened_trial
from cabinvigil.daemon.replay.narrowed import Narrowed
from cabinvigil.daemon.replay.other_limits import OtherLimits
from cabinvigil.daemon.replay.replay import (
    Decided,
    is_log,
    logged,
    replay_columns,
    replay_log,
)
from cabinvigil.daemon.replay.replayed import Note, unsaid, whole
from cabinvigil.daemon.replay.ring_diff import Episode, LimitRing, RingDiff, differences
from cabinvigil.daemon.settings.config import (
    Cabin,
    ConfigError,
    Settings,
    from_plain,
    standard,
)
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.terminal import Advance

Put = Callable[[Settings], Settings]
"""Puts limits into the settings that ran."""
TOLD_EVERY = 1000
"""Steps between two tellings of how far the work is."""


@dataclass(slots=True)
class Followed:
    """Passes a night's lines on, and notes how far it is and what the clock showed."""

    paths: Sequence[Path]
    advance: Advance
    run: int = 0
    up_s: float = 0.0
    offsets: dict[int, float] = field(default_factory=dict)
    """By run, wall clock less `up_s`, as last seen: once set, a clock is right."""
    zone: tzinfo | None = None
    """Of the moments."""
    bump_until_s: float = float("-inf")
    """What rings until then, rings by gas or breath that is held to the parts."""
    trial: TrialSpan | None = None
    """The last trial that began: nobody is inside until its end."""
    has_tests: bool = False
    """Whether somebody has asked for a test of the parts so far."""
    logbook: Logbook = field(default_factory=Logbook)
    """Knows what could not be read, once all lines are."""

    @property
    def is_in_test(self) -> bool:
        """Return whether what sounds now is no danger of the cabin's."""
        is_trial = self.trial is not None and self.up_s <= self.trial.to_s
        return is_trial or self.up_s <= self.bump_until_s

    def __iter__(self) -> Iterator[LogLine]:
        told = 0
        logbook = self.logbook = Logbook(*self.paths)
        for number, line in enumerate(logbook):
            self.run, self.up_s = line.run, line.up_s
            fields = {**line.fields, "up_s": line.up_s}
            named = {line.event, line.fields.get("act")} & {"bump-test", "trial"}
            goes_on = {"bump_for_s", "trial_for_s"} & line.fields.keys()
            self.has_tests = self.has_tests or bool(named or goes_on)
            if line.event == "bump-test":
                self.bump_until_s = bump_until_s(fields)
            if line.event == "trial":
                self.trial = opened_trial(fields)
            if line.event == "start":
                if not line.fields.get("continues") or not number:
                    self.bump_until_s = bump_until_s(fields)
                    self.trial = opened_trial(fields)
                self.zone = zone_of(line.fields)
            if line.wall is not None and line.wall >= EARLIEST:
                self.offsets[line.run] = line.wall.timestamp() - line.up_s
            if number % TOLD_EVERY == 0:
                self.advance(logbook.bytes_read - told)
                told = logbook.bytes_read
            yield line
        self.advance(logbook.bytes_read - told)

    def moment(self, run: int, up_s: float) -> datetime | None:
        """Return a moment of a run, once all lines are read."""
        offset_s = self.offsets.get(run)
        if offset_s is None:
            return None
        return datetime.fromtimestamp(offset_s + up_s, UTC).astimezone(self.zone)


def table(
    nights: Iterable[tuple[str, Sequence[Path]]],
    limits: OtherLimits,
    base: Settings | None = None,
    advance: Advance = lambda _more: None,
    note: Note = unsaid,
) -> Iterator[RingDiff]:
    """Replay each night with the limits that it had, and with others.

    Args:
        nights: a name and its files: the parts of a night's log, or one CSV recording.
        limits: what is tried; a key that they do not name stays as it was.
        base: stands in for what the logs say they were run with; a recording, which
            says nothing, is run with the packaged limits without it.
        advance: told of the bytes that were read; each is read twice.
        note: told what a night's log does not say and a replay would need.

    Raises:
        RecordingError, ConfigError: the limits have a mistake, or none of the nights
            can be replayed; one that cannot, beside others, is passed over, and told.
    """

    def as_it_was(settings: Settings) -> Settings:
        limits.put_into(settings)  # a mistake is told before the night is gone through
        for text in limits.dropped(settings):
            say(text)
        return settings

    say = _once(note)
    failed: list[tuple[str, CabinvigilError]] = []
    is_any = False
    for name, paths in nights:
        try:
            told, narrow = _logged(paths, base, limits.tables.keys())
            how = _Pass(base, as_it_was, advance, narrow, note=_of(name, note))
            own = _rings(paths, how)
            how = replace(how, put=limits.put_into, is_tried=True, note=unsaid)
            would = _rings(paths, how)
        except (ConfigError, RecordingError) as error:
            if _is_of(limits, error):
                raise
            failed.append((name, error))
            continue
        is_any = True
        # What is bound up with none of the limits sounded as the log says, and would.
        kept = set() if narrow is None else narrow.kept
        same = {alarm: rings for alarm, rings in told.items() if alarm not in kept}
        own, would = {**own, **same}, {**would, **same}
        for alarm in dict.fromkeys([*own, *would]):
            yield from differences(
                name, alarm, own.get(alarm, []), would.get(alarm, [])
            )
    if failed and not is_any:
        raise failed[0][1]
    for name, why in failed:
        note(f"{name} is skipped: {str(why).splitlines()[0]}")


def _is_of(limits: OtherLimits, error: CabinvigilError) -> bool:
    """Return whether it is a mistake of the limits, and so of every night."""
    mistakes = error.mistakes if isinstance(error, ConfigError) else ()
    return any(one.file == limits.file for one in mistakes)


def _of(name: str, note: Note) -> Note:
    """Report what is said of a night once, by its name."""
    return _once(lambda text: note(f"{name}: {text}"))


def _once(note: Note) -> Note:
    """Report the same text once."""
    told: set[str] = set()

    def once(text: str) -> None:
        if text not in told:
            told.add(text)
            note(text)

    return once


@dataclass(frozen=True, slots=True)
class _Pass:
    """How a night is replayed."""

    base: Settings | None
    put: Put
    advance: Advance
    narrow: Narrowed | None
    """To what of it; None: all."""
    is_tried: bool = False
    note: Note = unsaid


def _logged(
    paths: Sequence[Path], base: Settings | None, names: Collection[str]
) -> tuple[dict[str, list[Episode]], Narrowed | None]:
    """Read what a log itself says sounded, and find what of it need be replayed.

    Returns:
        The log's own rings, and what narrows a replay to the alarms; nothing and None
        where there is no such log, or a test of the parts in it.
    """
    if base is not None or not is_log(paths[0]):
        return {}, None
    followed = Followed(paths, lambda _more: None)
    try:
        found = _gathered(logged(followed), followed)
    except OSError:  # who replays it tells
        return {}, None
    return ({}, None) if followed.has_tests else (found, Narrowed(names))


def _rings(paths: Sequence[Path], how: _Pass) -> dict[str, list[Episode]]:
    """Replay one night and list when each alarm was raised, and how high it went."""
    base, put, advance, note = how.base, how.put, how.advance, how.note
    if not is_log(paths[0]):
        known = put(base or standard(Cabin(name="recording")))
        render = renderer(known.watch.language)
        decided = replay_columns(Recording(paths[0]), known, render)
        found = _gathered(decided, None)
        advance(paths[0].stat().st_size)
        return found
    settings = None if base is None else put(base)
    render = renderer("en" if base is None else base.watch.language)
    followed = Followed(paths, advance)

    def choose(config: Mapping[str, Any]) -> Settings:
        return put(from_plain(config, note=note))

    try:
        decided = replay_log(
            followed,
            settings,
            render,
            paths[0],
            choose,
            is_tried=how.is_tried,
            narrow=how.narrow or whole,
            note=note,
        )
        found = _gathered(decided, followed)
    except OSError as error:
        raise RecordingError(
            f"{paths[0]}: cannot be read ({error.strerror}); give the path of a CSV "
            "file or of a night's log"
        ) from error
    for text in followed.logbook.flaws.told:
        note(text)
    return found


def _gathered(decided: Decided, followed: Followed | None) -> dict[str, list[Episode]]:
    rings: dict[str, list[Episode]] = {}
    places: list[tuple[LimitRing, int, float]] = []
    first_s: float | None = None
    in_test: dict[str, Transition] = {}
    for time_s, commands in decided:
        first_s = time_s if first_s is None else first_s
        moved = [one for one in commands if isinstance(one, Transition)]
        if followed is not None and followed.is_in_test:
            in_test |= {one.alarm: one for one in moved}
            continue
        # What still sounds when a test is over did not ring by it.
        moved, in_test = [*in_test.values(), *moved], {}
        for command in moved:
            if command.state is not AlarmState.UNACKNOWLEDGED:
                continue
            listed = rings.setdefault(command.alarm, [])
            if command.was is AlarmState.UNACKNOWLEDGED and listed:
                if command.priority <= listed[-1][-1].priority:
                    continue
            else:
                listed.append([])
            ring = LimitRing(time_s - first_s, command.priority)
            listed[-1].append(ring)
            if followed is not None:
                places.append((ring, followed.run, followed.up_s))
    if followed is not None:
        for ring, run, up_s in places:
            ring.wall = followed.moment(run, up_s)
    return rings
