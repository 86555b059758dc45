"""Two buses of a config: one stalls, the other reads on; on threads, in real time."""

import asyncio
import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.clock import SystemClock
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.known import ON_I2C
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from cabinvigil.daemon.sampling.bus_errors import BusStuckError
from cabinvigil.daemon.sampling.buses import DEADLINE_S, I2cBus
from cabinvigil.daemon.sampling.collector import SampleCollector
from cabinvigil.daemon.sampling.sampler_pool import SamplerPool, sampling
from cabinvigil.daemon.sampling.wiring import REAL, Wires, from_config
from cabinvigil.daemon.settings.bus_names import I2cNames
from cabinvigil.daemon.settings.config import Settings, example
from cabinvigil.daemon.settings.values import I2cSettings, PartSettings
from cabinvigil.drivers.kit.steps import Transfer
from tests.bench.stalled_part import StalledSMBus
from tests.bus_machine import BusMachine

PARTS = {
    "bunk-air": PartSettings(
        kind="sht4x", bus="living", address=0x44, interval_s=0.2, max_age_s=5.0
    ),
    "roof-air": PartSettings(
        kind="sht4x", bus="stalled", address=0x44, interval_s=0.2, max_age_s=5.0
    ),
}


def config(devices: Mapping[str, str]) -> Settings:
    buses = {name: I2cSettings(device=device) for name, device in devices.items()}
    return replace(example(), parts=PARTS, i2c=buses)


def test_a_stalled_bus_of_a_config_delays_no_other() -> None:
    """The call never returns; its neighbour's readings come as if it were not there."""
    stalled = StalledSMBus()

    async def watch() -> tuple[int, dict[str, str]]:
        living = EmulatedSMBus()
        now = asyncio.get_running_loop().time
        living.attach(0x44, ON_I2C["sht4x"](AirNow, 1, now))
        smbuses: dict[str, Any] = {"/dev/i2c-1": living, "/dev/i2c-8": stalled}
        wires = replace(
            REAL, i2c=lambda name, at: I2cBus(name, at, open_smbus=smbuses.__getitem__)
        )
        sink = SampleCollector(SystemClock())
        settings = config({"living": "/dev/i2c-1", "stalled": "/dev/i2c-8"})
        async with sampling(settings, sink, SystemClock(), wires):
            await asyncio.sleep(DEADLINE_S + 1.5)
            faults = {source: fault.kind for source, fault in sink.faults.items()}
            given = len(sink.readings[("bunk-air", "temp_c")])
            stalled.lets_go.set()
        return given, faults

    given, faults = asyncio.run(watch())
    assert faults == {"stalled": "bus-stuck"}
    assert given >= 8, "of 12 in that time; a busy machine may be late"


class KernelBus:
    """A channel: its calls wait in the kernel for whoever has the wire."""

    def __init__(self, wire: threading.Lock, stalls_s: float = 0.0) -> None:
        self._wire, self._stalls_s = wire, stalls_s

    def i2c_rdwr(self, *_messages: Any) -> None:
        with self._wire:
            time.sleep(self._stalls_s)
        if self._stalls_s:
            raise OSError(110, "timed out")

    def close(self) -> None:
        """Nothing to close."""


@pytest.mark.parametrize("shares", [True, False])
def test_a_stalled_channel_does_not_call_its_neighbour_stuck(*, shares: bool) -> None:
    """Waited for before its own deadline begins; in the kernel it would count."""
    wire = threading.Lock()
    stalled, living = (
        I2cBus(
            f"channel-{n}",
            f"/dev/i2c-{30 + n}",
            open_smbus=lambda _, stalls_s=stalls_s: KernelBus(wire, stalls_s),  # type: ignore[misc]
            deadline_s=0.5,
        )
        for n, stalls_s in enumerate((0.8, 0.0))
    )
    if shares:
        living.share_turns(stalled)

    async def call(bus: I2cBus, after_s: float) -> str:
        await asyncio.sleep(after_s)
        try:
            await bus.transfer(0x44, Transfer(b"\xfd"))
        except BusStuckError:
            return "stuck"
        return "well"

    async def both() -> list[str]:
        told = await asyncio.gather(call(stalled, 0.0), call(living, 0.05))
        for bus in (stalled, living):
            bus.close()
            await bus.closed(2.0)
        return told

    assert asyncio.run(both()) == ["stuck", "well" if shares else "stuck"]


@pytest.mark.parametrize(
    ("devices", "is_shared"),
    [
        (("/dev/i2c-30", "/dev/i2c-31"), True),
        (("/dev/i2c-1", "/dev/i2c-31"), True),
        (("/dev/i2c-1", "/dev/i2c-8"), False),
    ],
)
def test_buses_on_one_wire_take_turns(
    tmp_path: Path, devices: tuple[str, str], is_shared: bool
) -> None:
    """Channels with each other and with the bus before them; nobody else."""
    machine = BusMachine(tmp_path)
    machine.bus(1)
    machine.on_pins(8, reg=8)
    machine.mux(1, 0x70, range(30, 38), base=30)
    made: dict[str, I2cBus] = {}

    def i2c(name: str, device: str) -> I2cBus:
        made[name] = I2cBus(name, device, open_smbus=lambda _: EmulatedSMBus())
        return made[name]

    async def begin() -> None:
        clock = SystemClock()
        async with asyncio.TaskGroup() as group:
            wires: Wires = replace(REAL, i2c=i2c)
            pool = SamplerPool(
                group,
                SampleCollector(clock),
                clock,
                wires,
                from_config,
                restarts=False,
                names=I2cNames(tmp_path),
            )
            await pool.apply(
                config(dict(zip(("living", "stalled"), devices, strict=True)))
            )
            await pool.end()

    asyncio.run(begin())
    living, stalled = made["living"], made["stalled"]
    assert (living.one_at_a_time is stalled.one_at_a_time) is is_shared
