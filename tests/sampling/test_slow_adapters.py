"""Adapters that answer late or never: real pyserial on ptys, in real time."""

import asyncio
import errno
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import pytest
import serial

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.frame9 import EmulatedFrame9Co
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial
from cabinvigil.daemon.sampling.bus_errors import BlockedError
from cabinvigil.daemon.sampling.sampler import SamplerContext
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import StreamSampler
from cabinvigil.daemon.threads import worker
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import Sample

HELD_UP_S = 0.8
"""A loaded machine may be late by so much; the adapter's call takes much longer."""


class Adapter:
    """What the driver of an adapter does in `open` and `close`, by its path."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.fails = True
        self.opens = self.closes = True
        """False: the call does not return until `release`."""
        self.tried = 0
        self.release = threading.Event()

    def open(self, port: serial.Serial) -> None:
        if port.portstr != self.path:
            return
        self.tried += 1
        if not self.opens:
            self.release.wait(20.0)
        if self.fails:
            raise serial.SerialException(errno.ETIMEDOUT, "Connection timed out")

    def close(self, port: serial.Serial) -> None:
        if port.portstr == self.path and not self.closes:
            self.release.wait(20.0)


@contextmanager
def driven(adapter: Adapter, monkeypatch: pytest.MonkeyPatch) -> Iterator[Adapter]:
    real_open, real_close = serial.Serial.open, serial.Serial.close

    def open_(self: serial.Serial) -> None:
        adapter.open(self)
        real_open(self)

    def close(self: serial.Serial) -> None:
        adapter.close(self)
        real_close(self)

    monkeypatch.setattr(serial.Serial, "open", open_)
    monkeypatch.setattr(serial.Serial, "close", close)
    try:
        yield adapter
    finally:
        adapter.release.set()


class Watched:
    """Samplers on real lines, and how late the loop is meanwhile."""

    def __init__(self) -> None:
        self.clock = SystemClock()
        self.events: list[SourceFault | SourceOk] = []
        self.gave: dict[str, int] = {}
        self.late_s = 0.0

    def on_reading(self, part: str, samples: list[Sample], _at_s: float) -> None:
        self.gave[part] = self.gave.get(part, 0) + len(samples)

    def told(self, source: str) -> list[str]:
        return [getattr(e, "kind", "") for e in self.events if e.source == source]

    def sampler(
        self, name: str, line: EmulatedSerial, deadline_s: float
    ) -> StreamSampler:
        info = replace(find_part("frame9_co"), interval_s=0.2, needs=())
        placing = SamplerContext(
            name,
            info,
            info.make({}),
            self.clock,
            self.on_reading,
            self.events.append,
        )
        return StreamSampler(
            placing,
            lambda on_bytes, on_gone: SerialPort(
                line.path, 9600, on_bytes, on_gone, deadline_s=deadline_s
            ),
        )

    async def until(self, condition: object, for_s: float = 20.0) -> None:
        """Tick until a condition holds."""
        end_s = perf_counter() + for_s
        while not condition():  # type: ignore[operator]
            start_s = perf_counter()
            assert start_s < end_s, "it never came true"
            await asyncio.sleep(0.02)
            self.late_s = max(self.late_s, perf_counter() - start_s - 0.02)


def co_line(folder: Path, name: str) -> EmulatedSerial:
    now = asyncio.get_running_loop().time
    part = EmulatedFrame9Co(AirNow, 1, now)
    return EmulatedSerial(folder / name, part, waits=False)


def port_threads(path: str) -> list[threading.Thread]:
    return [one for one in threading.enumerate() if one.name == f"port-{path}"]


async def test_an_adapter_that_is_slow_to_fail_holds_up_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No tick and no healthy part waits for it; it is told, and over once it is well.

    On a pty, with the driver's call hung in pyserial's own `open`.
    """
    bad, good = co_line(tmp_path, "bad"), co_line(tmp_path, "good")
    watched = Watched()
    with driven(Adapter(bad.path), monkeypatch) as adapter:
        adapter.opens = False
        samplers = [
            watched.sampler("bad", bad, deadline_s=0.3),
            watched.sampler("good", good, deadline_s=5.0),
        ]
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(one.run()) for one in samplers]
            await watched.until(lambda: watched.told("bad"))
            assert watched.told("bad") == ["blocked"]
            assert "does not come back" in watched.events[0].text  # type: ignore[union-attr]
            before = watched.gave.get("good", 0)
            await watched.until(lambda: watched.gave.get("good", 0) > before)
            adapter.opens, adapter.fails = True, False
            adapter.release.set()
            await watched.until(lambda: watched.told("bad")[-1] == "")
            for task in tasks:
                task.cancel()
    assert watched.late_s < HELD_UP_S
    assert watched.told("good") == []
    await watched.until(lambda: not port_threads(bad.path))
    bad.close()
    good.close()


async def test_a_port_that_opens_too_late_is_closed_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What nobody waits for any more keeps no descriptor, and nobody from the port."""
    line = co_line(tmp_path, "late")
    before = len(os.listdir("/proc/self/fd"))
    port = SerialPort(line.path, 9600, bytes, print, deadline_s=0.05)
    with driven(Adapter(line.path), monkeypatch) as adapter:
        adapter.opens = adapter.fails = False
        with pytest.raises(BlockedError, match="adapter out and in"):
            await port.open()
        with pytest.raises(BlockedError):  # at once: the thread is still away
            await port.open()
        assert adapter.tried == 1
        adapter.opens = True
        adapter.release.set()
        await Watched().until(lambda: not port_threads(line.path))
    assert len(os.listdir("/proc/self/fd")) == before
    port = SerialPort(line.path, 9600, bytes, print)
    await port.open()
    await port.close()
    line.close()


async def test_a_port_that_hangs_in_closing_holds_up_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither where it is closed by us, nor where it vanished."""
    line = co_line(tmp_path, "stiff")
    gone: list[str] = []
    port = SerialPort(line.path, 9600, bytes, lambda error: gone.append(str(error)))
    watched = Watched()
    with driven(Adapter(line.path), monkeypatch) as adapter:
        adapter.fails = False
        await port.open()
        adapter.closes = False
        line.unplug()
        await watched.until(lambda: gone)
        assert watched.late_s < HELD_UP_S
        assert port_threads(line.path)
        start_s = perf_counter()
        await port.close()
        assert perf_counter() - start_s < HELD_UP_S
    await watched.until(lambda: not port_threads(line.path))
    line.close()


async def test_a_hung_opener_is_replaced_and_no_more_than_so_many_hang(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thread that hangs for long is left behind; reloads do not add to its like."""
    line = co_line(tmp_path, "hung")
    monkeypatch.setattr(worker, "REPLACE_S", 0.05)
    with driven(Adapter(line.path), monkeypatch) as adapter:
        adapter.opens = adapter.fails = False
        port = SerialPort(line.path, 9600, bytes, print, deadline_s=0.01)
        for _ in range(8):  # it tries again and again
            with pytest.raises(BlockedError) as caught:
                await port.open()
            await asyncio.sleep(0.06)
        assert adapter.tried == worker.MOST_HANGING
        assert f"{worker.MOST_HANGING} times" in str(caught.value)
        for _ in range(50):  # a reload each
            await port.close()
            port = SerialPort(line.path, 9600, bytes, print, deadline_s=0.01)
            with pytest.raises(BlockedError):
                await port.open()
        assert len(port_threads(line.path)) == worker.MOST_HANGING
        adapter.opens = True
        adapter.release.set()
        await Watched().until(lambda: not port_threads(line.path))
        await port.open()  # and then it works
        await port.close()
    line.close()
