"""A thousand reloads and a thousand unplugged adapters leave nothing behind.

Run: `python -m tests.soak.adapters [TIMES]` (some three minutes).  A pool of samplers
on real threads: an I2C bus, a serial port on a pty, a 1-wire file; each reload begins
every part anew, and each fifth one moves the bus to another device.
"""

import asyncio
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated_wires import EmulatedWires
from cabinvigil.daemon.sampling import stream_sampler
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.collector import SampleCollector
from cabinvigil.daemon.sampling.sampler_pool import SamplerPool, sampling
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.wiring import REAL, Wires
from cabinvigil.daemon.settings.config import Settings, example
from cabinvigil.daemon.settings.values import I2cSettings, PartSettings
from tests.soak.thirty_nights import Left

GROWTH = 1.05
"""Of the memory, from the tenth part of the run on: own choice."""
TEXT = b"91 01 4b 46 7f ff 0f 10 25 : crc=25 YES\n91 01 4b 46 7f ff 0f 10 25 t=25062\n"
"""What the kernel shows of a DS18B20 (as in its driver's tests)."""
PATIENCE_S = 30.0


class Bench:
    """The three wires of one machine."""

    def __init__(self, folder: Path) -> None:
        loop = asyncio.get_running_loop()
        self.file = folder / "w1_slave"
        self.file.write_bytes(TEXT)
        self.emulated = EmulatedWires(folder, AirNow, loop.time, loop.call_at)
        self.emulated.attach(self.parts(0))
        self.line = self.emulated.ports["co"]
        self.line._waits = False  # another thread may flush what it has sent
        self.sink = SampleCollector(SystemClock())
        self.port: SerialPort | None = None

    def parts(self, number: int) -> dict[str, PartSettings]:
        interval_s = 0.02 + 0.001 * (number % 2)
        return {
            "air": PartSettings(kind="sht4x", bus="main", interval_s=interval_s),
            "co": PartSettings(kind="frame9_co", port="line", interval_s=interval_s),
            "pane": PartSettings(
                kind="ds18b20", path=str(self.file), interval_s=interval_s
            ),
        }

    def settings(self, number: int) -> Settings:
        device = f"/dev/i2c-{1 + number // 5 % 2}"
        return replace(
            example(),
            parts=self.parts(number),
            i2c={"main": I2cSettings(device=device)},
        )

    def wires(self) -> Wires:
        opener = self.emulated.wires().i2c("main", "/dev/i2c-1")._open_smbus

        def i2c(name: str, device: str) -> I2cBus:
            return I2cBus(name, device, open_smbus=opener)

        def serial(name: str, part: PartSettings, baud: int) -> stream_sampler.OpenPort:
            at = replace_port(part, self.line.path)
            make = REAL.serial(name, at, baud)

            def noted(on_bytes: Any, on_gone: Any) -> SerialPort:
                self.port = make(on_bytes, on_gone)
                return self.port

            return noted

        return Wires(i2c, serial, REAL.file, REAL.line)

    @property
    def has_port(self) -> bool:
        return self.port is not None and self.port.is_open

    async def all_work(self) -> None:
        """Wait until the port is open, and each other part has given something new."""
        self.sink.readings.clear()
        await until(
            lambda: (
                self.has_port and {"air", "pane"} <= {n for n, _ in self.sink.readings}
            )
        )


def replace_port(part: PartSettings, path: str) -> PartSettings:
    return PartSettings(kind=part.kind, port=path, interval_s=part.interval_s)


async def until(condition: Callable[[], object]) -> None:
    """Wait for a condition.

    Raises:
        TimeoutError: it never came true.
    """
    async with asyncio.timeout(PATIENCE_S):
        while not condition():  # noqa: ASYNC110  # of threads and ptys
            await asyncio.sleep(0.002)


async def reloads(pool: SamplerPool, bench: Bench, times: int) -> list[Left]:
    """Reload so often; return what was held after each tenth, all parts at work."""
    held = []
    for number in range(1, times + 1):
        await pool.apply(bench.settings(number))
        await asyncio.sleep(0.02)
        if number % max(times // 10, 25) == 0:
            await bench.all_work()
            held.append(Left.now())
    return held


async def unplugs(bench: Bench, times: int) -> list[Left]:
    """Unplug the adapter and the 1-wire part so often."""
    held = []
    for number in range(1, times + 1):
        bench.line.unplug()
        bench.file.unlink()
        await until(lambda: not bench.has_port)
        bench.line.plug()
        bench.file.write_bytes(TEXT)
        await until(lambda: bench.has_port)
        if number % max(times // 10, 25) == 0:
            await bench.all_work()
            held.append(Left.now())
    return held


async def both(folder: Path, times: int) -> tuple[list[Left], list[Left]]:
    """Return what was held in the course of the reloads, and of the unplugging."""
    bench = Bench(folder)
    fast = patch.object(stream_sampler, "FIRST_RETRY_S", 0.02)
    with closing(bench.emulated), fast:
        async with sampling(
            bench.settings(0), bench.sink, bench.sink.clock, bench.wires()
        ) as pool:
            await bench.all_work()
            return await reloads(pool, bench, times), await unplugs(bench, times)


def grown(held: list[Left]) -> list[str]:
    """Say what there was more of at the end than at the first look."""
    first, last = held[0], held[-1]
    return [
        f"{what}: {getattr(first, what)}, then {getattr(last, what)}"
        for what in ("files", "threads", "tasks")
        if getattr(last, what) > getattr(first, what)
    ]


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    began_s = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        found = asyncio.run(both(Path(folder), times))
    is_well = True
    for what, held in zip(("reloads", "unplugged"), found, strict=True):
        wrong = grown(held)
        growth = held[-1].rss_kb / held[0].rss_kb
        if growth > GROWTH:
            wrong.append(f"memory grew to {growth:.3f} times the first's")
        last = held[-1]
        print(
            f"{times} {what}: memory {growth:.3f} of the first; {last.files} files, "
            f"{last.threads} threads, {last.tasks} tasks"
        )
        for text in wrong:
            print(f"  WRONG {text}")
        is_well = is_well and not wrong
    print(f"{time.perf_counter() - began_s:.0f} s")
    sys.exit(not is_well)


if __name__ == "__main__":
    main()
