"""The pool of samplers: whoever samples the parts of a config does it by this one way.

A changed config stops and starts those parts that it changes, and no other: one that
is begun again is set up again, is silent meanwhile, and warms up for minutes; one that
stays as it was must not pay for its neighbour.
"""

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceOk
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.sampler import Sampler
from cabinvigil.daemon.sampling.wiring import (
    MakeCodec,
    SampleSink,
    Wires,
    from_config,
    sampler,
)
from cabinvigil.daemon.settings.bus_names import I2cNames
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers import part as find_part

START_AGAIN_S = 10.0
"""A sampler that stumbled over its driver's own bug is started again after this."""
STOP_S = 2.0
"""For all that is told to end: samplers wait for nothing but the loop, a bus for its
adapter's driver; within the stage of the stop that waits for both."""


@asynccontextmanager
async def sampling(
    settings: Settings,
    sink: SampleSink,
    clock: Clock,
    wires: Wires,
    make: MakeCodec = from_config,
    *,
    restarts: bool = True,
) -> AsyncIterator["SamplerPool"]:
    """Sample every part of a config while the block runs, then leave the wires alone.

    Args:
        settings: whose parts; another config may be applied to the pool later.
        sink: takes readings and faults, and lends values for compensation.
        clock: of those wires.
        wires: real or emulated.
        make: makes the codecs; `span.kept.maker` puts in what the last span found.
        restarts: whether a sampler is started again after its driver's own bug, as a
            watch needs; a short look does without the part.
    """
    async with asyncio.TaskGroup() as group:
        pool = SamplerPool(group, sink, clock, wires, make, restarts=restarts)
        try:
            await pool.apply(settings)
            yield pool
        finally:
            await pool.end()


@dataclass(frozen=True)
class _Place:
    """All that makes a part's sampler what it is."""

    part: PartSettings
    device: str
    """Its bus's device file."""
    informed_by: Mapping[str, PartSettings]


def _devices(settings: Settings) -> dict[str, str]:
    """Return each bus's device file."""
    return {name: bus.device for name, bus in settings.i2c.items()}


def _sources(settings: Settings) -> frozenset[str]:
    """Return who may have a fault: the parts, and the buses that have any."""
    buses = {part.bus for part in settings.parts.values() if part.bus is not None}
    return frozenset(settings.parts) | (buses & set(settings.i2c))


def _places(settings: Settings) -> dict[str, _Place]:
    parts, devices = settings.parts, _devices(settings)
    return {
        name: _Place(
            part,
            devices.get(part.bus or "", ""),
            {of: parts[by] for of, by in part.informed_by.items() if by in parts},
        )
        for name, part in parts.items()
    }


class SamplerPool:
    """The samplers of a config's parts, each in a task of its own.

    A driver's own bug is a fault of its part, and ends no other's sampling.
    """

    def __init__(
        self,
        group: asyncio.TaskGroup,
        sink: SampleSink,
        clock: Clock,
        wires: Wires,
        make: MakeCodec,
        *,
        restarts: bool,
        names: I2cNames | None = None,
    ) -> None:
        """Hold nobody yet; arguments as of `sampling`, and where the tasks live.

        `names` shows which buses share one wire; None: this machine's.
        """
        self._group = group
        self._sink = sink
        self._clock = clock
        self._wires = wires
        self._make = make
        self._restarts = restarts
        self._names = names or I2cNames()
        self._places: dict[str, _Place] = {}
        self._tasks: dict[str, asyncio.Task[None]] = {}
        self._buses: dict[str, I2cBus] = {}
        self._sources: frozenset[str] = frozenset()

    async def apply(self, settings: Settings) -> None:
        """Bring the pool to this config."""
        places = _places(settings)
        await self._end([n for n, at in self._places.items() if places.get(n) != at])
        sources = _sources(settings)
        gone = self._rewire(_devices(settings)) | (self._sources - sources)
        for source in sorted(gone):
            self._is_over(source)
        self._sources = sources
        for name, place in places.items():
            if name not in self._tasks:
                self._begin(name, place, settings.parts)

    async def end(self) -> None:
        """End all samplers, and close the wires; who hangs is left to its thread."""
        loop = asyncio.get_running_loop()
        until_s = loop.time() + STOP_S
        await self._end(list(self._tasks))
        buses = list(self._buses.values())
        self._rewire({})
        left_s = max(0.0, until_s - loop.time())
        await asyncio.gather(*(bus.closed(left_s) for bus in buses))

    def _begin(
        self, name: str, place: _Place, parts: Mapping[str, PartSettings]
    ) -> None:
        # What was wrong with it under the old config is not known of the new one.
        self._is_over(name)
        new = sampler(
            name, parts, self._buses, self._sink, self._clock, self._wires, self._make
        )
        self._places[name] = place
        self._tasks[name] = self._group.create_task(
            self._guard(new), name=f"part-{name}"
        )

    def _is_over(self, source: str) -> None:
        """Report the end of a fault that nobody else is left to tell."""
        if source in self._sink.faults:
            self._sink.on_event(SourceOk(source))

    async def _guard(self, sampler: Sampler) -> None:
        """Run a part's sampler; its own bug is that part's fault, not the end."""
        again = "; it is started again" if self._restarts else ""
        while True:
            try:
                await sampler.run()
            except Exception as bug:
                sampler.stumbled(bug, again)
            if not self._restarts:
                return
            await asyncio.sleep(START_AGAIN_S)

    async def _end(self, names: list[str]) -> None:
        tasks = [self._tasks.pop(name) for name in names]
        for task in tasks:
            task.cancel()
        if tasks:
            await asyncio.wait(tasks, timeout=STOP_S)
        for name in names:
            part = self._places.pop(name).part
            bus = self._buses.get(part.bus or "")
            if bus is not None:
                bus.forget(part.address or find_part(part.kind).address)

    def _rewire(self, devices: Mapping[str, str]) -> set[str]:
        """Close the buses that are gone, open the new ones; return those closed.

        Args:
            devices: by bus, its device file.
        """
        closed = set()
        for name, bus in list(self._buses.items()):
            if devices.get(name) != bus.device:
                bus.close()
                del self._buses[name]
                closed.add(name)
        for name, device in devices.items():
            if name not in self._buses:
                self._buses[name] = self._wires.i2c(name, device)
        self._share_turns()
        return closed

    def _share_turns(self) -> None:
        """Let buses behind one multiplexer, and the one before it, take turns."""
        if len(self._buses) < 2:  # nor is anything read where it cannot matter
            return
        first: dict[int | str, I2cBus] = {}
        for bus in self._buses.values():
            bus.share_turns(first.setdefault(self._names.wire(bus.device), bus))
