"""A whole watch in virtual time with its real ways out, each of which may fail.

Sounder, log and state file are the daemon's own, without their threads.  The phone is
the daemon's desk and outbox with a broker that is there or is not; that the connection
itself is lost and found is shown with real brokers in `tests/outputs` and
`tests/systemd`.
"""

import errno
import json
import os
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from cabinvigil.daemon.compose.compose import compose_columns
from cabinvigil.daemon.core.engine import start
from cabinvigil.daemon.core.model import Command, Record, SourceFault, SourceOk
from cabinvigil.daemon.core.snapshot import restore, resume, to_plain
from cabinvigil.daemon.log.folder import NightFile, Nights, OpenNight
from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import (
    Messages,
    Publication,
    Topics,
    run_of,
)
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.mqtt.requests import Envelope, RequestGate
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import GpioOut, LineError
from cabinvigil.daemon.outputs.signal.light import Light
from cabinvigil.daemon.outputs.state_file import StateFile, StateSaver
from cabinvigil.daemon.service.host import EVERY_S, HostLook, HostWatch
from cabinvigil.daemon.service.status import start_fields
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Cabin as SetCabin
from cabinvigil.daemon.settings.config import standard
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers.kit.steps import Sample
from tests.outputs.hands import EVENING, FailingLine, HandClock

SETTINGS = standard(SetCabin(name="lapwing"))
USUAL = {"o2_pct": 20.7, "co2_ppm": 1500.0, "co_ppm": 2.0}
_WHOLE = compose_columns(USUAL, 1.0, SETTINGS.cabin, SETTINGS.alarms, renderer("en"))
COMPOSED = replace(_WHOLE, setup=replace(_WHOLE.setup, trend=None))
"""Three gases, and no trend, which no row is about: a night a row must be quick."""
LOOK_S = 0.05
"""How finely the sounder is stepped: half of the shortest pulse."""
NEVER = 10**9
DAY = timedelta(days=1)


class FailingNights(Nights):
    """A disk that refuses, from the middle of a write on."""

    refuses = 0
    """An errno; 0: the disk is well."""

    def open(self, wall: object, first_line: object) -> OpenNight:
        if self.refuses:
            raise OSError(self.refuses, os.strerror(self.refuses))
        night = super().open(wall, first_line)  # type: ignore[arg-type]
        plain = night.append

        def append(lines: bytes) -> None:
            if self.refuses:
                raise OSError(self.refuses, os.strerror(self.refuses))
            plain(lines)

        night.append = append  # type: ignore[method-assign]
        return night


class FailingFile(StateFile):
    """A state file on a disk that refuses."""

    refuses = 0

    def save(self, *given: object) -> None:
        if type(self).refuses:
            raise OSError(type(self).refuses, os.strerror(type(self).refuses))
        super().save(*given)  # type: ignore[arg-type]


class Post:
    """The phone's way: what the desk makes goes to a broker, where one is there."""

    name = "mqtt"

    def __init__(self, cabin: "Cabin") -> None:
        self._cabin = cabin
        messages = Messages(Topics("lapwing"), run_of(cabin.clock.wall()), UTC)
        self.desk = Publisher(messages, heartbeat_s=30.0, readings_s=10.0)

    def handle(self, command: Command, stamp: Stamp) -> None:
        if self.desk.handle(command, stamp):
            self.deliver(stamp)

    def deliver(self, stamp: Stamp) -> None:
        while self._cabin.broker_is_there:
            taken = self.desk.next(stamp)
            if taken is None:
                return
            self._cabin.phone.append((stamp.up_s + self._cabin.began_s, taken[1]))

    def start(self) -> None: ...

    def stop(self, deadline_s: float) -> None: ...


class Cabin:
    """The Lapwing's watch, a tick a second."""

    def __init__(self, folder: Path, boots: datetime = EVENING) -> None:
        self.folder = folder
        self.clock = HandClock(boots)
        self.dice = Random(1)
        self.co_ppm = 2.0
        self.broker_is_there = True
        self.line_opens = self.light_opens = True
        self.line = FailingLine(self.clock)
        self.light_line = FailingLine(self.clock)
        self.cpu_c, self.is_under_volted = 50.0, False
        self.phone: list[tuple[float, Publication]] = []
        self.told: list[tuple[float, Command]] = []
        self.waits: list[SourceFault | SourceOk] = []
        FailingFile.refuses = 0
        self.notes: tuple[str, ...] = ()
        self.begin()

    def begin(self) -> None:
        """Start, as the daemon does after a kill or a boot."""
        self.began_s = self.clock.now_s
        self.nights = FailingNights(
            self.folder / "log", keep_days=90, max_bytes=10**9, packed=True, zone=UTC
        )
        file = FailingFile(self.folder / "state" / "state")
        self.buzzer = Buzzer(self._open, self.clock, self.waits.append, inline=True)
        self.light = Light(self._open_light, self.clock, self.waits.append, inline=True)
        self.log = Recorder(self.nights, self.clock, self.waits.append, inline=True)
        self.post = Post(self)
        self.keeper = StateSaver(file, self.clock, self.waits.append, inline=True)
        self.host = HostWatch(self.waits.append)
        kept = file.load(self.clock.wall(), self.clock.monotonic())
        self.notes = kept.notes
        state = start(COMPOSED.setup, 0.0)
        if kept.body is not None:
            state, _ = restore(COMPOSED.setup, kept.body, 0.0, down_s=kept.down_s)
        self.watcher = Watcher(
            COMPOSED,
            self.clock,
            [self.buzzer, self.light, self.log, self.post, self],
            state=state,
            on_change=lambda now: self.keeper.offer(lambda: to_plain(now)),
        )
        self.asked = RequestGate(
            Topics("lapwing"),
            lambda ask, _reply: ask.act and self.watcher.on_event(ask.act),
            lambda _text: None,
        )
        fields = start_fields(SETTINGS)
        self.watcher.hand_out([Record("start", fields, urgent=True)], 0.0)
        self.watcher.hand_out(resume(state, 0.0), 0.0)
        for text in kept.notes:
            self.keeper.note(text)

    name = "told"

    def handle(self, command: Command, stamp: Stamp) -> None:
        self.told.append((stamp.up_s + self.began_s, command))

    def start(self) -> None: ...

    def stop(self, deadline_s: float) -> None: ...

    def _open(self) -> GpioOut:
        if not self.line_opens:
            raise LineError(errno.ENOENT, "there is no GPIO line 'GPIO17'")
        return self.line

    def _open_light(self) -> GpioOut:
        if not self.light_opens:
            raise LineError(errno.ENOENT, "there is no GPIO line 'GPIO23'")
        return self.light_line

    def live(self, to_s: float) -> None:
        """Breathe until then."""
        while self.clock.now_s < to_s:
            self.clock.now_s = round(self.clock.now_s + 1.0, 3)
            self._breathe()
            while self.waits:
                self.watcher.on_event(self.waits.pop(0))
            now_s = self.watcher.up_s()
            self.post.deliver(Stamp(now_s, self.clock.wall()))
            if self.clock.now_s % EVERY_S == 0.0:
                seen = HostLook(
                    now_s, self.clock.wall(), self.cpu_c, self.is_under_volted
                )
                self.host.look(seen)
            self._sound()

    def _breathe(self) -> None:
        for quantity, usual in (USUAL | {"co_ppm": self.co_ppm}).items():
            value = usual + self.dice.gauss(0.0, usual * 1e-4)
            sample = Sample(quantity, value)
            self.watcher.on_reading(quantity, [sample], self.clock.now_s)
        self.watcher.tick()

    def _sound(self) -> None:
        """Step the sounder through the second; the line notes the real moments."""
        second_s = self.clock.now_s
        for part in range(int(1.0 / LOOK_S)):
            self.clock.now_s = second_s - 1.0 + (part + 1) * LOOK_S
            self.buzzer.step(self.clock.now_s)
            self.light.step(self.clock.now_s)
        self.clock.now_s = second_s

    def logged(self) -> list[LogLine]:
        """All lines of all nights, in their order."""
        return [line for file in self.nights.files() for line in self.logged_in(file)]

    @staticmethod
    def logged_in(file: NightFile) -> list[LogLine]:
        """All lines of one night."""
        return list(Logbook(file.path))

    def finish(self) -> None:
        """Write what waits, as at the end of a night."""
        self.log.stop(1.0)

    # --- what may happen to it ----------------------------------------------------

    def disk(self, number: int) -> Callable[[], None]:
        """Make the log's disk refuse with this errno (0: well again)."""

        def act() -> None:
            self.nights.refuses = number

        return act

    def state_disk(self, number: int) -> Callable[[], None]:
        def act() -> None:
            FailingFile.refuses = number

        return act

    def delete_log(self) -> None:
        shutil.rmtree(self.folder / "log")
        (self.folder / "log").write_text("a mount point that is not a folder now")

    def bring_folder_back(self) -> None:
        (self.folder / "log").unlink()

    def broker(self, kind: str) -> None:
        """Lose the broker (a fault's kind), or find it again ('')."""
        self.broker_is_there = not kind
        if kind:
            text = "the broker cannot be reached; check the network"
            self.post.desk.outbox.connection_lost()
            self.waits.append(SourceFault("mqtt", kind, text))
        else:
            self.post.desk.outbox.send_states()
            self.waits.append(SourceOk("mqtt"))

    def lose_line(self) -> None:
        self.line.fails_from = len(self.line.changes)
        self.line_opens = False

    def find_line(self) -> None:
        self.line.fails_from = NEVER
        self.line_opens = True

    def lose_light(self) -> None:
        self.light_line.fails_from = len(self.light_line.changes)
        self.light_opens = False

    def find_light(self) -> None:
        self.light_line.fails_from = NEVER
        self.light_opens = True

    def heat(self, cpu_c: float) -> None:
        self.cpu_c = cpu_c

    def sag(self, *, is_under_volted: bool) -> None:
        self.is_under_volted = is_under_volted

    def step_clock(self, days: float) -> None:
        self.clock.start = self.clock.start + days * DAY

    def set_clock(self) -> None:
        self.clock.start = EVENING

    def kill(self) -> None:
        """Die without a word, and be started again."""
        self.begin()

    def tear_state(self, *names: str) -> None:
        for name in names:
            path = self.folder / "state" / name
            path.write_bytes(path.read_bytes()[:200])

    def write_newer_state(self) -> None:
        path = self.folder / "state" / "state"
        newer = path.read_bytes().replace(b'"format": 1', b'"format": 2')
        path.write_bytes(newer)

    def flood(self) -> None:
        """A thousand asks at once: junk, and an acknowledgement among it."""
        stamp = Stamp(self.watcher.up_s(), self.clock.wall())
        fields = {"ask": "acknowledge", "at": stamp.wall.isoformat()}
        honest = json.dumps(fields).encode()
        for number in range(1000):
            payload = honest if number == 500 else b"\xff" * number
            self.asked.arrived(payload, Envelope(), stamp, lambda *_: None)
