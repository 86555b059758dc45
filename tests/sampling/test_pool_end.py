"""The end of the pool of samplers: off the loop, by one deadline, whatever hangs."""

import asyncio
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.sampling import sampler_pool
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.collector import SampleCollector
from cabinvigil.daemon.sampling.sampler_pool import SamplerPool
from cabinvigil.daemon.sampling.wiring import REAL, from_config
from cabinvigil.daemon.settings.values import PartSettings
from tests.sampling.test_sampler_pool import config

AIR = PartSettings(kind="sht4x", bus="main")


async def until(is_so: Callable[[], bool]) -> None:
    """Let the loop turn until something is so, for ten seconds at most."""
    async with asyncio.timeout(10.0):
        while not is_so():  # noqa: ASYNC110
            await asyncio.sleep(0.005)


class Never:
    """A bus that takes a call and keeps it."""

    is_in = False
    lets_go = threading.Event()

    def i2c_rdwr(self, *_: Any) -> None:
        Never.is_in = True
        self.lets_go.wait(10.0)

    def close(self) -> None: ...


async def test_an_adapter_that_hangs_at_the_end_holds_no_loop() -> None:
    """The end is waited for while the loop turns; then no thread of it is left."""
    closing, release = threading.Event(), threading.Event()

    class Hangs:
        def i2c_rdwr(self, *_: Any) -> None:
            raise OSError(121, "no reply")

        def close(self) -> None:
            closing.set()
            release.wait(10.0)

    clock = SystemClock()
    wires = replace(
        REAL, i2c=lambda name, path: I2cBus(name, path, open_smbus=lambda _: Hangs())
    )
    sink = SampleCollector(clock)
    async with asyncio.TaskGroup() as group:
        pool = SamplerPool(group, sink, clock, wires, from_config, restarts=True)
        await pool.apply(config({"bunk-air": AIR}, "/dev/i2c-hangs"))
        await until(lambda: "bunk-air" in sink.faults)
        ending = group.create_task(pool.end())
        await until(closing.is_set)
        assert not ending.done()
        release.set()
    names = lambda: [one.name for one in threading.enumerate()]  # noqa: E731
    await until(lambda: "bus-/dev/i2c-hangs" not in names())


async def test_and_is_left_to_its_thread_at_the_deadline(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sampler_pool, "STOP_S", 0.05)
    bus = I2cBus("main", "/dev/i2c-left", open_smbus=lambda _: Never())
    clock = SystemClock()
    wires = replace(REAL, i2c=lambda *_: bus)
    sink = SampleCollector(clock)
    async with asyncio.TaskGroup() as group:
        pool = SamplerPool(group, sink, clock, wires, from_config, restarts=True)
        await pool.apply(config({"bunk-air": AIR}, bus.device))
        await until(lambda: Never.is_in)
        await pool.end()
    assert not await bus.closed(0.0)
    Never.lets_go.set()
    assert await bus.closed(10.0)
