"""The parts at work: a reload stops and starts those that it changes, and no other.

A part that is begun anew is set up again, is silent meanwhile, and warms up for
minutes; one that the new config leaves as it was must not pay for its neighbour.
"""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceOk
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.wiring import MakeCodec, Wires, sampler
from cabinvigil.daemon.service.ticker import sample
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers import part as find_part

STOP_S = 2.0
"""For the samplers that are told to end: they wait for nothing but the loop."""


@dataclass(frozen=True)
class _Place:
    """All that makes a part's sampler what it is."""

    part: PartSettings
    device: str
    """Its bus's device file."""
    informed_by: Mapping[str, PartSettings]


class SamplerPool:
    """All samplers of one run, each in a task of its own."""

    def __init__(
        self,
        group: asyncio.TaskGroup,
        watcher: Watcher,
        clock: Clock,
        wires: Wires,
        make: MakeCodec,
    ) -> None:
        """Hold nobody yet; arguments as of `wiring.wire`, and where the tasks live."""
        self._group = group
        self._watcher = watcher
        self._clock = clock
        self._wires = wires
        self._make = make
        self._places: dict[str, _Place] = {}
        self._tasks: dict[str, asyncio.Task[Any]] = {}
        self._buses: dict[str, I2cBus] = {}

    async def apply(
        self, parts: Mapping[str, PartSettings], i2c: Mapping[str, str]
    ) -> None:
        """Bring the pool to this config.

        Args:
            parts: by name.
            i2c: device file by bus name.
        """
        places = {
            name: _Place(
                part,
                i2c.get(part.bus or "", ""),
                {of: parts[by] for of, by in part.informed_by.items() if by in parts},
            )
            for name, part in parts.items()
        }
        await self._end([n for n, at in self._places.items() if places.get(n) != at])
        self._rewire(i2c)
        for name, place in places.items():
            if name not in self._tasks:
                self._begin(name, place, parts)

    async def end(self) -> None:
        """Send everybody home."""
        await self._end(list(self._tasks))
        self._rewire({})

    def _begin(
        self, name: str, place: _Place, parts: Mapping[str, PartSettings]
    ) -> None:
        if name in self._watcher.state.history.sources:
            # What was wrong with it under the old config is not known of the new one.
            self._watcher.on_event(SourceOk(name))
        one = sampler(
            name, parts, self._buses, self._watcher, self._clock, self._wires,
            self._make,
        )  # fmt: skip
        self._places[name] = place
        self._tasks[name] = self._group.create_task(
            sample(one, self._watcher), name=f"part-{name}"
        )

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

    def _rewire(self, i2c: Mapping[str, str]) -> None:
        """Close the buses that are gone, open the new ones."""
        for name, bus in list(self._buses.items()):
            if i2c.get(name) != bus.device:
                bus.close()
                del self._buses[name]
        for name, device in i2c.items():
            if name not in self._buses:
                self._buses[name] = self._wires.i2c(name, device)
