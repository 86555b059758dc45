"""The real daemon on real ptys: in this process on a real loop, or as a command."""

import asyncio
import grp
import os
import queue
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.o2_line import EmulatedO2Line
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial
from cabinvigil.daemon.sampling.wiring import REAL, Wires
from cabinvigil.daemon.service.app import App
from cabinvigil.daemon.service.host_services import HostServices
from cabinvigil.daemon.service.sounder import start_early
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.span.kept import maker
from tests.recording_line import RecordingLine

CONFIG = """
[cabin]
name = "lapwing"
[watch]
tick_s = 0.5
state_folder = "{folder}/state"
[part.bunk-o2]
kind = "o2_optical_line"
port = "{folder}/bunk-o2"
[part.bunk-co]
kind = "frame9_co"
port = "{folder}/bunk-co"
[log]
folder = "{folder}/log"
[buzzer]
line = "GPIO17"
[ask]
socket = "{folder}/ask"
group = "{group}"
{more}
"""


@dataclass
class Air:
    """What the emulated parts sit in; the test changes it."""

    now: AirNow = field(default_factory=AirNow)

    def __call__(self) -> AirNow:
        return self.now


class CoFrames:
    """A CO module without lag: an upload frame each quarter of a second."""

    def __init__(
        self,
        air: Callable[[], AirNow],
        now: Callable[[], float],
        every_s: float = 0.25,
    ) -> None:
        self._air, self._now, self._every_s = air, now, every_s
        self.power_up()

    def power_up(self) -> None:
        self._due_s = self._now() + 0.1

    def due_s(self) -> float | None:
        return self._due_s

    def receive(self, data: bytes) -> bytes:
        return b""

    def send(self) -> bytes:
        self._due_s += self._every_s
        tenths = round(self._air().co_ppm * 10)
        # sensors, section 12: gas CO, unit ppm, one decimal, value, range 500.0.
        body = bytes((0x04, 0x03, 0x01, *divmod(tenths, 256), *divmod(5000, 256)))
        return b"\xff" + body + bytes((-sum(body) & 0xFF,))


class Ports:
    """An oxygen and a CO module on ptys, on the running loop."""

    def __init__(self, folder: Path, air: Air, *, waits: bool = False) -> None:
        now = asyncio.get_running_loop().time
        o2 = EmulatedO2Line(air, 1, now)
        o2.span()
        self.all = [
            EmulatedSerial(folder / "bunk-o2", o2, waits=waits),
            EmulatedSerial(folder / "bunk-co", CoFrames(air, now), waits=waits),
        ]

    def close(self) -> None:
        for port in self.all:
            port.close()


def config(folder: Path, more: str = "") -> Path:
    path = folder / "cabin.toml"
    group = grp.getgrgid(os.getgid()).gr_name
    path.write_text(
        CONFIG.format(folder=folder, more=more, group=group), encoding="utf-8"
    )
    return path


@dataclass
class Running:
    """The daemon in this process."""

    app: App
    line: RecordingLine
    air: Air
    _heard: int = 0

    async def until(self, is_so: Callable[[], Any], within_s: float = 10.0) -> Any:
        """Wait until something is so; fail after a while."""
        end_s = time.perf_counter() + within_s
        while not (found := is_so()):
            assert time.perf_counter() < end_s, "it never came"
            await asyncio.sleep(0.02)
        return found

    def sounds(self, pattern: str) -> bool:
        """Say whether the line has been driven on since the core chose the pattern."""
        if self.app.watcher.state.sound.pattern != pattern:
            self._heard = len(self.line.changes)
            return False
        return any(level for _, level in self.line.changes[self._heard :])


class HandButton:
    """A button's line: presses are put in, each of so many seconds."""

    def __init__(self) -> None:
        self._edges: queue.Queue[tuple[bool, float]] = queue.Queue()
        self._at_s = 100.0

    def press(self, held_s: float) -> None:
        self._at_s += 1.0
        self._edges.put((True, self._at_s))
        self._at_s += held_s
        self._edges.put((False, self._at_s))

    def wait(self, for_s: float) -> Sequence[tuple[bool, float]]:
        try:
            return [self._edges.get(timeout=min(for_s, 0.05))]
        except queue.Empty:
            return ()

    def close(self) -> None: ...


@asynccontextmanager
async def running(
    folder: Path,
    more: str = "",
    wires: Wires = REAL,
    *,
    waits: bool = False,
    button: HandButton | None = None,
) -> AsyncIterator[Running]:
    """Run the daemon on ptys; stops it in order at the end.

    Args:
        folder: for its files.
        more: of the config.
        wires: stand-ins for them.
        waits: whether the parts wait until the host can see what they sent.
        button: its line, where `more` has a `[button]`.
    """
    air = Air()
    ports = Ports(folder, air, waits=waits)
    clock = SystemClock()
    line = RecordingLine(clock)
    machine = HostServices(
        maker,
        clock=clock,
        wires=wires,
        open_line=lambda *_, **__: line,
        open_button=lambda *_, **__: button or HandButton(),
    )
    path = config(folder, more)
    sounder = start_early(path, clock, machine.open_line)
    app = App(load(path), path, machine, sounder)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(app.run())
        try:
            await app.begun.wait()
            yield Running(app, line, air)
        finally:
            app.stop()
            await task
            ports.close()
