"""A stalled or babbling part delays no other's readings: measured on real threads.

Two I2C buses, each with its own thread, and two serial lines on ptys.  On one bus the
kernel's call does not come back; on one line nonsense comes as fast as the pty carries
it.  Meanwhile the parts on the other bus and line are sampled as ever, and how late
each of their readings comes is measured, beside the same without any fault.

    .venv/bin/python -m tests.bench.stalled_part [SECONDS]
"""

import asyncio
import os
import sys
import tempfile
import threading
import tty
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.known import ON_I2C
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial, EmulatedSMBus
from cabinvigil.daemon.sampling.buses import DEADLINE_S, I2cBus
from cabinvigil.daemon.sampling.sampler import PolledSampler, Sampler, SamplerContext
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import StreamSampler
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import Sample
from tests.running import Air, CoFrames

POLL_S = 0.2
"""Between two polls of the good part on I2C; its measurement takes 10 ms of it."""
FRAME_S = 0.25
"""Between two frames of the good CO module (tests/running.py)."""
USUAL = ("sht4x", "frame9_co")
CHUNK = 1024
FASTEST = 1e9
"""As fast as a pty goes: some hundred times what 9600 baud carry."""


class StalledSMBus:
    """A bus whose call does not come back until it is let go."""

    def __init__(self) -> None:
        self.lets_go = threading.Event()
        self.calls = 0

    def i2c_rdwr(self, *i2c_msgs: Any) -> None:
        self.calls += 1
        self.lets_go.wait(120.0)
        raise OSError(110, "timed out")

    def close(self) -> None:
        """Nothing to close."""


@contextmanager
def babbler(folder: Path, bytes_per_s: float) -> Iterator[tuple[str, list[int]]]:
    """A pty that carries nonsense at a pace; yields its path and a count of bytes."""
    master, slave = os.openpty()
    tty.setraw(slave)
    path, sent, ends = folder / "babble", [0], threading.Event()
    path.symlink_to(os.ttyname(slave))
    os.set_blocking(master, False)

    def babble() -> None:
        while not ends.is_set():
            try:
                sent[0] += os.write(master, os.urandom(CHUNK))
                ends.wait(CHUNK / bytes_per_s)
            except BlockingIOError:
                ends.wait(0.001)  # the reader is behind
            except OSError:
                return

    thread = threading.Thread(target=babble, daemon=True)
    thread.start()
    try:
        yield str(path), sent
    finally:
        ends.set()
        thread.join(2.0)
        os.close(master)
        os.close(slave)


@dataclass
class Measured:
    """How late readings came, in seconds: (median, worst) by part."""

    late_s: dict[str, tuple[float, float]]
    readings: dict[str, int]
    faults: dict[str, str]
    babbled_bytes: int = 0

    def line(self, what: str) -> str:
        told = [
            f"{name} {mid * 1e3:.1f} ms, worst {most * 1e3:.1f} ms of "
            f"{self.readings[name]} readings"
            for name, (mid, most) in self.late_s.items()
        ]
        return f"{what:<22} late by: {'; '.join(told)}"


class Bench:
    """Samplers on real wires, and when each gave its readings."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = SystemClock()
        self.at_s: dict[str, list[float]] = {}
        self.faults: dict[str, str] = {}
        self.samplers: list[Sampler] = []

    def _placing(self, name: str, kind: str, interval_s: float) -> SamplerContext:
        info = replace(find_part(kind), interval_s=interval_s)
        return SamplerContext(
            name=name,
            info=info,
            codec=info.make({}),
            clock=self.clock,
            on_reading=self._on_reading,
            on_event=self._on_event,
        )

    def _on_reading(self, name: str, _samples: list[Sample], at_s: float) -> None:
        self.at_s.setdefault(name, []).append(at_s)

    def _on_event(self, event: SourceFault | SourceOk) -> None:
        if isinstance(event, SourceFault):
            self.faults[event.source] = event.kind

    def polled(self, name: str, smbus: Any, kind: str = "sht4x") -> I2cBus:
        bus = I2cBus(f"bus-{name}", "/dev/i2c-x", open_smbus=lambda _: smbus)
        placing = self._placing(name, kind, POLL_S)
        address = find_part(kind).address
        self.samplers.append(PolledSampler(placing, bus, address))
        return bus

    def heard(
        self, name: str, path: str, after_write: Any = None, kind: str = "frame9_co"
    ) -> None:
        placing = self._placing(name, kind, 1.0)
        self.samplers.append(
            StreamSampler(
                placing,
                lambda on_bytes, on_gone: SerialPort(
                    path, 9600, on_bytes, on_gone, after_write=after_write
                ),
            )
        )

    def measured(self, babbled_bytes: int) -> Measured:
        late, counts = {}, {}
        for name, every_s in (("good-bus", POLL_S), ("good-line", FRAME_S)):
            at_s = self.at_s.get(name, [])[2:]  # the first ones come when they can
            gaps = sorted(after - before for before, after in pairwise(at_s))
            assert gaps, f"{name} gave nothing"
            late[name] = (gaps[len(gaps) // 2] - every_s, gaps[-1] - every_s)
            counts[name] = len(at_s)
        return Measured(late, counts, self.faults, babbled_bytes)


@asynccontextmanager
async def sampled(bench: Bench) -> AsyncIterator[None]:
    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(sampler.run()) for sampler in bench.samplers]
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()


async def measure(
    folder: Path,
    for_s: float,
    *,
    is_faulty: bool,
    bytes_per_s: float,
    kinds: tuple[str, str] = USUAL,
) -> Measured:
    """Sample the good parts for a while, with or without the bad ones beside them.

    Args:
        folder: for the lines.
        for_s: how long.
        is_faulty: the bad ones are there.
        bytes_per_s: of nonsense.
        kinds: of the part that stalls and of the one that babbles.
    """
    loop = asyncio.get_running_loop()
    bench = Bench(folder)
    good = EmulatedSMBus()
    good.attach(0x44, ON_I2C["sht4x"](AirNow, 1, loop.time))
    buses = [bench.polled("good-bus", good)]
    wire = EmulatedSerial(folder / "good", CoFrames(Air(), loop.time), waits=False)
    bench.heard("good-line", wire.path, wire.after_write)
    stalled = StalledSMBus()
    sent = [0]
    try:
        if not is_faulty:
            async with sampled(bench):
                await asyncio.sleep(for_s)
            return bench.measured(0)
        with babbler(folder, bytes_per_s) as (path, sent):
            buses.append(bench.polled("stalled-bus", stalled, kinds[0]))
            bench.heard("babbling-line", path, kind=kinds[1])
            async with sampled(bench):
                await asyncio.sleep(for_s)
            return bench.measured(sent[0])
    finally:
        stalled.lets_go.set()
        wire.close()
        for bus in buses:
            bus.close()


def compare(
    for_s: float, bytes_per_s: float = FASTEST, kinds: tuple[str, str] = USUAL
) -> tuple[Measured, Measured]:
    """Measure without and with the faults."""
    results = []
    for is_faulty in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            one = measure(
                Path(folder),
                for_s,
                is_faulty=is_faulty,
                bytes_per_s=bytes_per_s,
                kinds=kinds,
            )
            results.append(asyncio.run(one))
    return results[0], results[1]


def main() -> None:
    for_s = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    well, faulty = compare(for_s)
    print(f"{for_s:g} s each; deadline of a call {DEADLINE_S:g} s")
    print(well.line("all wires well"))
    print(faulty.line("one stalls, one babbles"))
    rate = faulty.babbled_bytes / for_s / 1e3
    print(f"babbled {rate:.0f} kB/s (9600 baud carry 1); faults told: {faulty.faults}")
    worst = max(most for _, most in faulty.late_s.values())
    print(f"worst {worst * 1e3:.0f} ms of {DEADLINE_S * 1e3:.0f} ms allowed")
    sys.exit(worst > DEADLINE_S)


if __name__ == "__main__":
    main()
