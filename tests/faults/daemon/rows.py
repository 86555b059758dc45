"""Faults of the running daemon itself, on ptys and on a real loop, in real time.

Seconds here are a machine's own, so the limits are wide; that they are met exactly is
shown in virtual time by the other tables.
"""

import asyncio
import socket
import threading
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.wiring import REAL
from tests.faults.outcome import Outcome, seconds
from tests.running import Running, config, running

GAS = AirNow(co_ppm=400.0)
GAS_SOUNDS_S = 5.0
"""A frame each 0.25 s, and the machine may be busy; 50 ms are measured by the bench."""
TOLD_S = 15.0
"""A bus that hangs is given up after 5 s, with its tries."""
HELD_UP_S = 2.7
"""The loop stands still for so long: told from 2 s on, and the watchdog's 15 far."""
GAP_S = 2.0
"""Between two ticks of 0.5 s, on a machine that may be busy."""
CO2_PART = (
    '[i2c.main]\ndevice = "/dev/i2c-1"\n[part.bunk-co2]\nkind = "scd4x"\nbus = "main"\n'
)


@dataclass
class Real:
    """A running daemon under a fault."""

    run: Running
    folder: Path

    def mend_config(self) -> None:
        config(self.folder)
        self.run.app.reload_asked.set()

    def break_config(self) -> None:
        (self.folder / "cabin.toml").write_text("[cabin]\nvolume_ft3 = 300\n")
        self.run.app.reload_asked.set()

    def hold_up(self) -> None:
        asyncio.get_running_loop().call_soon(time.sleep, HELD_UP_S)


Starts = Callable[[Path], AbstractAsyncContextManager[Running]]


@asynccontextmanager
async def hanging_bus(folder: Path) -> AsyncIterator[Running]:
    """A call into the kernel that never returns."""
    release = threading.Event()

    class Hangs:
        def i2c_rdwr(self, *_: Any) -> None:
            release.wait()

        def close(self) -> None: ...

    def bus(name: str, device: str) -> I2cBus:
        return I2cBus(name, device, open_smbus=lambda _: Hangs())

    try:
        async with running(folder, CO2_PART, replace(REAL, i2c=bus)) as run:
            yield run
    finally:
        release.set()


@asynccontextmanager
async def silent_broker(folder: Path) -> AsyncIterator[Running]:
    """It accepts the connection and never says a word."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        more = f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\ntls = false\n'
        async with running(folder, more) as run:
            yield run


@asynccontextmanager
async def taken_socket(folder: Path) -> AsyncIterator[Running]:
    """A folder stands where the ask socket should be made."""
    (folder / "ask").mkdir()
    async with running(folder) as run:
        yield run


def nothing(_real: Real) -> None:
    """Neither break nor mend anything while it runs."""


@dataclass(frozen=True)
class Row:
    """One fault of the running daemon."""

    name: str
    told: str
    """The alarm that tells of it."""
    words: str
    """Of its sentence."""
    starts: Starts = running
    breaks: Callable[[Real], None] = nothing
    """Once it runs; a fault that is there from the start has its own `starts`."""
    mends: Callable[[Real], None] = nothing
    is_over: bool = True
    """Whether the fault ends once it is mended, while the test can wait for it."""
    back: str = ""


ROWS = (
    Row("config edited badly", "watch-fault/settings", "the old one stays in use",
        breaks=Real.break_config, mends=Real.mend_config,
        back="the old goes on; the mended is taken"),
    Row("loop held up for 2.7 s", "watch-fault/loop", "delayed", breaks=Real.hold_up,
        back="by itself"),
    Row("driver never returns", "watch-fault/main", "", starts=hanging_bus,
        is_over=False, back="its own bus alone is lost"),
    Row("broker never answers", "watch-fault/mqtt", "", starts=silent_broker,
        is_over=False, back="tried again for ever"),
    Row("ask socket cannot be made", "watch-fault/ask", "", starts=taken_socket,
        is_over=False, back="tried again each 30 s"),
)  # fmt: skip


async def _live(row: Row, folder: Path) -> tuple[float, float, float]:
    """Break, let gas come, mend; give when it broke, when gas came, when it sounded."""
    async with row.starts(folder) as run:
        watcher = run.app.watcher
        real = Real(run, folder)
        await run.until(lambda: "co_ppm" in watcher.numbers())
        broken_s = watcher.up_s() if row.breaks is not nothing else 0.0
        row.breaks(real)
        await run.until(lambda: watcher.state.standings[row.told].stands, TOLD_S)
        gas_s = watcher.up_s()
        run.air.now = GAS
        await run.until(lambda: run.sounds("temporal-four"), GAS_SOUNDS_S)
        sounds_s = watcher.up_s()
        row.mends(real)
        source = row.told.removeprefix("watch-fault/")
        if row.is_over:
            await run.until(lambda: source not in watcher.state.history.sources)
        assert watcher.numbers(), "nothing is measured any more"
    return broken_s, gas_s, sounds_s


def judge(row: Row, folder: Path) -> Outcome:
    """Play the row in real time and hold it to what is owed; give what it did.

    Raises:
        AssertionError: something was late, lost, missed or not told.
    """
    broken_s, gas_s, sounds_s = asyncio.run(_live(row, folder))
    log = [line for path in (folder / "log").iterdir() for line in Logbook(path)]
    told = _raised(log, row.told)
    gas = _raised(log, "co-level")
    assert row.words in told.fields["text"], told.fields["text"]
    assert gas.up_s - gas_s <= GAS_SOUNDS_S
    air_s = [line.up_s for line in log if line.event == "air"]
    gap_s = max(b - a for a, b in pairwise(air_s))
    held_up_s = HELD_UP_S if row.breaks is Real.hold_up else 0.0
    assert gap_s <= held_up_s + GAP_S, f"no tick for {gap_s:.1f} s"
    return Outcome(
        fault=row.name,
        rings=f"chirp {told.up_s - broken_s:.1f}",
        gas_sounds=seconds(sounds_s - gas_s),
        phone="no broker here",
        logged="both",
        lost=f"no tick for {gap_s:.1f} s",
        back=row.back,
        told=told.fields["text"],
    )


def _raised(log: Sequence[LogLine], alarm: str) -> LogLine:
    """The first line that says so."""
    found = [
        line
        for line in log
        if line.event == "alarm"
        and (line.fields["alarm"], line.fields["state"]) == (alarm, "unacknowledged")
    ]
    assert found, f"never told: {alarm}"
    return found[0]
