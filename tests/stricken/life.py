"""A watch that is struck down at any instant: its life, and what it says meanwhile.

The child runs the real watcher, log and state file on scripted air as fast as it can,
a second of virtual time a tick.  What it does it says at once in a *diary*, a file
on a disk that is not struck: what it decided before it hands it out, and what it has
been promised (synced, saved) after.
"""

import json
import os
import time
import traceback
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any, NoReturn

from cabinvigil.daemon.compose.compose import CoreBuild, compose_columns
from cabinvigil.daemon.core.engine import start
from cabinvigil.daemon.core.model import Act, ActKind, Command, Record, Transition
from cabinvigil.daemon.core.snapshot import restore, resume, to_plain
from cabinvigil.daemon.log.folder import Nights, OpenNight
from cabinvigil.daemon.log.lines import entry_of
from cabinvigil.daemon.log.reader import read_bytes
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.state_file import StateFile, StateSaver
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Cabin, standard
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers.kit.steps import Sample

FIRST = datetime(2100, 1, 1, 21, tzinfo=UTC)
"""After any file's real time stamp, so that a night's file is gone on with."""
RUNS_A_NIGHT = 8
PACE_S = 0.002
"""A tick's real time, where the writing threads must be given a turn."""
CO_PPM = (0.0, 0.0, 40.0, 90.0, 300.0)
O2_PCT = (20.8, 20.8, 19.2, 17.5)


def key_of(fields: Mapping[str, Any], up_s: float) -> str:
    """What makes an alarm event itself, within its run."""
    words = (fields["alarm"], fields["was"], fields["state"], fields["priority"])
    return f"{up_s:.3f} " + " ".join(map(str, words))


@dataclass
class Diary:
    """Written word by word; what stands there was said before the blow."""

    path: Path
    _fd: int = field(init=False)

    def __post_init__(self) -> None:
        self._fd = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def say(self, what: str, **facts: Any) -> None:
        line = {"what": what, "at_s": time.perf_counter(), **facts}
        os.write(self._fd, json.dumps(line).encode() + b"\n")

    def close(self) -> None:
        os.close(self._fd)


class Clock:
    """Goes on by hand; wall time and night follow from the run's number."""

    def __init__(self, run: int) -> None:
        night, place = divmod(run, RUNS_A_NIGHT)
        self._start = FIRST + timedelta(days=night, hours=place)
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def wall(self) -> datetime:
        return self._start + timedelta(seconds=self.now_s)


class Teller:
    """An output that says what was decided, before any other output has it."""

    name = "teller"

    def __init__(self, diary: Diary) -> None:
        self._testament = diary

    def handle(self, command: Command, stamp: Stamp) -> None:
        entry = entry_of(command)
        if isinstance(command, Transition) and entry is not None:
            key = key_of(entry.fields, stamp.up_s)
            self._testament.say("decided", key=key)
        elif entry is not None and entry.event == "air":
            self._testament.say("air", up_s=stamp.up_s)

    def start(self) -> None: ...

    def stop(self, deadline_s: float) -> None: ...


class TellingFile(StateFile):
    """Says what it is about to save, and when it is promised."""

    diary: Diary

    def save(self, body: Mapping[str, Any], wall: datetime, monotonic_s: float) -> None:
        number = self._number + 1
        self.diary.say("saving", number=number, alarms=standing(body))
        super().save(body, wall, monotonic_s)
        self.diary.say("saved", number=number)


def standing(body: Mapping[str, Any] | None) -> dict[str, str]:
    """The alarms of a saved state, each with where it stood."""
    alarms = (body or {}).get("alarms", {})
    return {alarm: str(one["state"]) for alarm, one in alarms.items()}


class TellingNights(Nights):
    """Says of each alarm event when its sync has returned."""

    diary: Diary

    def open(self, wall: datetime, first_line: Callable[[int], bytes]) -> OpenNight:
        night = super().open(wall, first_line)
        plain = night.append

        def append(lines: bytes) -> None:
            plain(lines)
            for line in read_bytes(lines)[0]:
                if line.event == "alarm":
                    self.diary.say("synced", key=key_of(line.fields, line.up_s))

        night.append = append  # type: ignore[method-assign]
        return night


def composed() -> CoreBuild:
    """Two gases under the packaged limits; made once, before any child is born."""
    cabin = Cabin(name="lapwing")
    settings = standard(cabin)
    return compose_columns(
        ("o2_pct", "co_ppm"), 1.0, cabin, settings.alarms, renderer("en")
    )


def script(watcher: Watcher, clock: Clock, dice: Random, pace_s: float) -> NoReturn:
    """Breathe air that changes all the time; now and then somebody presses.

    Some runs grow calm for good, so that no alarm takes the readings to the disk.
    """
    levels = {"o2_pct": O2_PCT, "co_ppm": CO_PPM}
    now = {"o2_pct": 20.8, "co_ppm": 0.0}
    calm_from_s = dice.choice((5.0, 20.0, float("inf")))
    while True:
        clock.now_s += 1.0
        if is_calm := clock.now_s > calm_from_s:
            now = {"o2_pct": 20.8, "co_ppm": 0.0}
        for quantity, choices in levels.items():
            if dice.random() < 0.1 and not is_calm:
                now[quantity] = dice.choice(choices)
            value = now[quantity] + dice.gauss(0.0, 0.01)
            watcher.on_reading(quantity, [Sample(quantity, value)], clock.now_s)
        watcher.tick()
        if dice.random() < 0.08 and not is_calm:
            kind = dice.choice((ActKind.ACKNOWLEDGE, ActKind.RESET, ActKind.MARK))
            watcher.on_event(Act(kind, text="window a hand wide"))
        if pace_s:
            time.sleep(pace_s)


def live(
    folder: Path, diary: Diary, run: int, what: CoreBuild, *, threaded: bool
) -> NoReturn:
    """Watch until struck down.

    Args:
        folder: of log and state, on the disk that may be cut off.
        diary: where to say what is done.
        run: its number: the seed, and the night.
        what: the core's setup.
        threaded: log and state write from threads of their own, as in the daemon;
            else each tick waits for them, and virtual time is their time.
    """
    clock = Clock(run)
    file = TellingFile(folder / "state" / "state")
    nights = TellingNights(
        folder / "log", keep_days=10**5, max_bytes=10**12, packed=True, zone=UTC
    )
    TellingFile.diary = TellingNights.diary = diary

    def report(event: Any) -> None:
        diary.say("fault", event=repr(event))

    keeper = StateSaver(file, clock, report, inline=not threaded)
    recorder = Recorder(nights, clock, report, inline=not threaded)
    kept = file.load(clock.wall(), clock.monotonic())
    number = file._number
    state, lost = start(what.setup, 0.0), list[str]()
    if kept.body is not None:
        state, lost = restore(what.setup, kept.body, 0.0, down_s=kept.down_s)
    notes = [*kept.notes, *lost]
    if threaded:
        diary.say("threaded")
    diary.say("woke", number=number, alarms=standing(kept.body), notes=notes)
    recorder.start()
    keeper.start()
    watcher = Watcher(
        what,
        clock,
        [Teller(diary), recorder],
        state=state,
        on_change=lambda now: keeper.offer(lambda: to_plain(now)),
    )
    watcher.hand_out([Record("start", {"run": run}, urgent=True)], 0.0)
    watcher.hand_out(resume(watcher.state, 0.0), 0.0)
    script(watcher, clock, Random(run), PACE_S if threaded else 0.0)


def bear(
    folder: Path, diary: Diary, run: int, what: CoreBuild, *, threaded: bool
) -> int:
    """Fork a child that lives until it is struck; give its id.

    The caller has one thread only: a fork of others would take their locks along.
    """
    pid = os.fork()
    if pid:
        return pid
    with suppress(BaseException):
        try:
            live(folder, diary, run, what, threaded=threaded)
        except BaseException:
            diary.say("bug", text=traceback.format_exc())
    os._exit(1)
