"""What surrounds a watch in a scenario: parts, lines, button, disk, broker, callers.

Each asks the scenario's troubles what it has to do now, and then really does it, in the
place in which the real one would: below smbus2's and pyserial's calls, below a GPIO's
line, below fsync, behind a socket.
"""

import asyncio
import errno
import os
import select
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from math import inf
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import serial
from paho.mqtt import client as paho

from cabinvigil.daemon.outputs import state_file
from cabinvigil.daemon.outputs.mqtt import session
from cabinvigil.daemon.outputs.mqtt.wakeup import Wakeup
from cabinvigil.daemon.outputs.signal.gpio import (
    LineAlteredError,
    LineCheck,
    LineError,
)
from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.rehearsal.emulated.ways import See
from cabinvigil.daemon.rehearsal.emulated_wires import EmulatedWires
from cabinvigil.daemon.rehearsal.faulty import FaultySMBus
from cabinvigil.daemon.rehearsal.faulty_serial import FaultySerialPart, plug_by
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial
from cabinvigil.daemon.sampling import serial_port
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import OpenPort
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.values import PartSettings
from tests.running import CoFrames
from tests.soak.chaos.broker import FLOOD_S, FickleBroker
from tests.soak.chaos.draw import Scenario
from tests.soak.chaos.shared_time import ROUND_S, SharedTime

FLOOD_PRESS_S = 0.15
SILENT_CALLERS = 12


@dataclass
class Pin:
    """A line of the machine, from outside."""

    level: bool = False
    changes: list[tuple[float, bool]] = field(default_factory=list)


class _Line:
    """What the watch has of a pin."""

    def __init__(self, world: "World", what: str, pin: Pin) -> None:
        self._world, self._what, self._pin = world, what, pin
        self._life = world.life

    def set(self, *, on: bool) -> None:
        self._world.meets(self._what, self._error)
        if self._life != self._world.life:
            return  # its process has ended
        if on != self._pin.level:
            self._pin.level = on
            self._pin.changes.append((self._world.time.now_s, on))

    def self_test(self) -> LineCheck:
        proof = f"{self._what}'s proof"
        self._world.meets(proof, self._error)
        way = self._world.way(proof)
        if way == "altered":
            raise LineAlteredError(0, "somebody else had changed the line")
        if way == "deaf" and self._pin.level:
            return LineCheck.NOT_HEARD
        return LineCheck.HEARD

    def close(self) -> None:
        with suppress(LineError):
            self.set(on=False)

    @staticmethod
    def _error() -> Exception:
        return LineError(errno.EIO, "the line does not answer")


class _Button:
    """The button's line; what it shows was drawn before."""

    def __init__(self, world: "World") -> None:
        self._world = world

    def wait(self, for_s: float) -> Sequence[tuple[bool, float]]:
        world = self._world
        world.meets("button", lambda: LineError(errno.EIO, "the line is lost"))
        now_s = world.time.now_s
        due = next((edge for edge in world.edges if edge[0] > now_s), None)
        if due is None or due[0] > now_s + for_s:
            world.time.wait(now_s + for_s)
            return ()
        while world.time.now_s < due[0]:
            world.time.wait(due[0])
        return [(due[1], due[0])]

    def close(self) -> None: ...


class _Adapter:
    """An I2C adapter's file, as smbus2 opens it."""

    def __init__(self, world: "World", bus: FaultySMBus) -> None:
        self._world, self._bus = world, bus

    def i2c_rdwr(self, *messages: Any) -> None:
        self._world.meets("adapter", lambda: OSError(errno.ENODEV, "no such device"))
        self._bus.i2c_rdwr(*messages)

    def close(self) -> None: ...


class _File(KernelFile):
    """The kernel's file of a 1-wire part."""

    def __init__(self, world: "World", name: str, path: str) -> None:
        super().__init__(path)
        self._world, self._name = world, name

    def _take(self) -> bytes:
        self._world.meets(self._name, lambda: OSError(errno.EIO, "the wire fails"))
        try:
            return self._world.emulated.files[self._name].text()
        except FileNotFoundError:
            return super()._take()


class _LaglessWires(EmulatedWires):
    """CO parts that show at once what is so: their lag is none of the watch's."""

    def _on_serial(self, name: str, part: PartSettings, air: See, seed: int) -> None:
        if part.kind != "frame9_co":
            super()._on_serial(name, part, air, seed)
            return
        stranger = known.ON_SERIAL["frame9_o2"](air, seed, self.now)
        faulty = FaultySerialPart(
            name,
            CoFrames(air, self.now, every_s=1.0),
            self.failures,
            seed,
            self.now,
            stranger=stranger,
        )
        self.ports[name] = EmulatedSerial(self.folder / name, faulty)
        plug_by(self.ports[name], name, self.failures, self.now)


class World:
    """All of it, for one scenario."""

    def __init__(self, folder: Path, scenario: Scenario, time: SharedTime) -> None:
        self.folder, self.scenario, self.time = folder, scenario, time
        self.pins: dict[str, Pin] = {}
        self.life = 0
        """Counts the processes."""
        self.lines = {"GPIO17": "sounder", "GPIO27": "second", "GPIO22": "light"}
        self._net = None
        seed = scenario.seed
        self.broker = FickleBroker(lambda: self.way("broker"), time.monotonic, seed)
        self.edges = sorted(self._edges())
        self._calls: list[asyncio.Task[None]] = []

    # --- what is wrong now -----------------------------------------------------------

    def way(self, what: str) -> str:
        """Say what is wrong with something now; '' nothing."""
        now_s = self.time.now_s
        for one in self.scenario.troubles:
            if one.part == what and one.from_s <= now_s < one.to_s:
                return one.fault
        return ""

    def meets(self, what: str, error: Callable[[], Exception]) -> None:
        """Hang until that is over, or fail, where one of both is drawn."""
        now_s = self.time.now_s
        for one in self.scenario.troubles:
            if one.part == what and one.from_s <= now_s < one.to_s:
                if one.fault == "hang":
                    self.time.sleep(one.to_s)
                elif one.fault == "errs":
                    raise error()

    def _edges(self) -> Iterator[tuple[float, bool]]:
        for one in self.scenario.troubles:
            if one.part != "button":
                continue
            if one.fault == "stuck":
                yield one.from_s, True
                yield one.to_s, False
            if one.fault == "flood":
                at_s = one.from_s
                while at_s < one.to_s:
                    yield at_s, True
                    yield at_s + FLOOD_PRESS_S, False
                    at_s += 2 * FLOOD_PRESS_S

    # --- what the watch is given -----------------------------------------------------

    def attach(self, settings: Settings) -> Wires:
        """Hang every part of a config; needs the loop."""
        loop = asyncio.get_running_loop()
        now = self.time.monotonic
        ports = self.folder / "ports"
        ports.mkdir()
        self.emulated = _LaglessWires(
            ports,
            lambda: self.scenario.air(now()),
            now,
            loop.call_at,
            self.scenario.seed,
            self.scenario.on_wires(),
        )
        self.emulated.attach(settings.parts)
        bus = FaultySMBus(
            self.emulated._bus("main"),
            self.emulated.addresses.get("main", {}),
            self.emulated.failures,
            self.scenario.seed,
            now,
        )
        bus.keep_time(loop.call_at)

        def opened(_device: str) -> _Adapter:
            self.meets("adapter", lambda: FileNotFoundError(errno.ENOENT, "no adapter"))
            return _Adapter(self, bus)

        return Wires(
            i2c=lambda name, device: I2cBus(name, device, open_smbus=opened),
            serial=self._serial,
            file=lambda name, part: _File(self, name, part.path or ""),
            line=self.emulated.wires().line,
        )

    def _serial(self, name: str, _part: PartSettings, baud: int) -> OpenPort:
        wire = self.emulated.ports[name]

        def make(on_bytes: Any, on_gone: Any) -> SerialPort:
            return SerialPort(
                wire.path, baud, on_bytes, on_gone, after_write=wire.after_write
            )

        return make

    def open_line(self, name: str, **_: Any) -> _Line:
        what = self.lines[name]
        self.meets(what, _Line._error)
        return _Line(self, what, self.pins.setdefault(what, Pin()))

    def open_button(self, _name: str, **_: Any) -> _Button:
        self.meets("button", lambda: LineError(errno.ENOENT, "there is no such line"))
        return _Button(self)

    # --- callers ---------------------------------------------------------------------

    def keep_time(self) -> None:
        """Let callers come, and the state file be garbled, at their moments."""
        loop = asyncio.get_running_loop()
        path = self.folder / "ask"
        for one in self.scenario.troubles:
            if one.part == "socket":
                count = SILENT_CALLERS if one.fault == "hang" else 2
                for _ in range(count):
                    call = partial(self._begin_call, one, path)
                    loop.call_at(one.from_s, call)
            if one.part == "state file":
                loop.call_at(one.from_s, self._garble)

    def _garble(self) -> None:
        for path in (self.folder / "state").glob("state*"):
            path.write_bytes(path.read_bytes()[:-40] + b"\xff" * 10)

    def _begin_call(self, one: Any, path: Path) -> None:
        work = self._call(one, path)
        self._calls.append(asyncio.get_running_loop().create_task(work))

    async def _call(self, one: Any, path: Path) -> None:
        """Call the ask socket: say nothing, or far too much."""
        while self.time.now_s < one.to_s:
            with suppress(OSError):
                reader, writer = await asyncio.open_unix_connection(path)
                try:
                    while self.time.now_s < one.to_s:
                        if one.fault == "flood":
                            writer.write(b'{"ask": "status"}\n' * 40)
                            if not await reader.read(65536):
                                break
                        await asyncio.sleep(0.5)
                finally:
                    writer.transport.abort()
            await asyncio.sleep(1.0)

    # --- below the watch -------------------------------------------------------------

    def _fsync(self, fd: int) -> None:
        """Sync a file: no card is here, only what may be wrong with one."""
        path = os.readlink(f"/proc/self/fd/{fd}")
        for what in ("log", "state"):
            if path.startswith(f"{self.folder}/{what}"):
                number = errno.ENOSPC if self.way(f"{what} disk") == "full" else 0
                if number:
                    raise OSError(number, os.strerror(number))
                self.meets(f"{what} disk", lambda: OSError(errno.EIO, "the disk fails"))

    def _read_state(self, path: Path) -> Any:
        self.meets("state disk", lambda: OSError(errno.EIO, "the disk fails"))
        return READ_STATE(path)

    def _open_serial(self, path: str, *args: Any, **kwargs: Any) -> serial.Serial:
        self.meets(f"{Path(path).name}'s port", lambda: OSError(errno.EIO, "it fails"))
        return serial.Serial(path, *args, **kwargs)

    def _connect(self, _address: Any, timeout: float, **_: Any) -> socket.socket:
        way, now_s = self.way("broker"), self.time.now_s
        if way == "hang":  # a name that nobody resolves has no time-out
            self.meets("broker", OSError)
        if self.broker.is_gone:
            raise ConnectionRefusedError(errno.ECONNREFUSED, "nobody listens")
        if way == "lost":
            self.time.wait(now_s + timeout, None)
            raise TimeoutError
        return self.broker.connect()

    def _select(self, reads: Any, writes: Any, _x: Any, for_s: float) -> Any:
        """Wait for the broker or a wish to send, in the common time."""
        self.time.now_s += ROUND_S
        until_s = self.time.now_s + for_s
        self._net = self.time.seat  # type: ignore[assignment]
        while True:
            self.broker.turn()
            ready = select.select(reads, writes, [], 0)
            if ready[0] or ready[1] or self.time.now_s >= until_s:
                return ready
            looks_s = self.time.now_s + (FLOOD_S if self.way("broker") else inf)
            self.time.wait(min(until_s, looks_s))

    def _ring(self, wakeup: Wakeup) -> None:
        RING(wakeup)
        if self._net is not None:
            self.time.ring(self._net)

    @contextmanager
    def around(self) -> Iterator[None]:
        """Put all that surrounds the watch in its place."""
        with ExitStack() as stack:
            put: Callable[..., Any] = lambda *args: stack.enter_context(  # noqa: E731
                patch.object(*args)
            )
            put(os, "fsync", self._fsync)
            put(state_file, "_read", self._read_state)
            put(serial_port, "serial", SimpleNamespace(Serial=self._open_serial))
            put(socket, "create_connection", self._connect)
            put(session, "select", SimpleNamespace(select=self._select))
            put(paho, "time_func", self.time.monotonic)
            put(Wakeup, "ring", lambda wakeup: self._ring(wakeup))
            yield

    def close_files(self) -> None:
        """Do as the kernel at a process's end, whose threads hung in a disk."""
        ours = tuple(f"{self.folder}/{name}/" for name in ("log", "state"))
        for name in os.listdir("/proc/self/fd"):
            with suppress(OSError):
                if os.readlink(f"/proc/self/fd/{name}").startswith(ours):
                    os.close(int(name))

    def close(self) -> None:
        for call in self._calls:
            call.cancel()
        self.emulated.close()
        self.broker.close()


READ_STATE = state_file._read
RING = Wakeup.ring
