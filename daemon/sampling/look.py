"""A look at the parts: sample them for a while, and keep what they give."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.sampling.wiring import (
    MakeCodec,
    SampleSink,
    Wired,
    Wires,
    from_config,
    wire,
)
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.drivers.kit.steps import Sample


@dataclass
class SampleCollector:
    """Keeps everything that samplers give."""

    clock: Clock
    readings: dict[tuple[str, str], list[tuple[float, Sample]]] = field(
        default_factory=dict
    )
    """By part and quantity: (moment, sample), the oldest first."""
    faults: dict[str, SourceFault] = field(default_factory=dict)
    """What is at fault now, by source."""

    def on_reading(self, part: str, samples: list[Sample], at_s: float) -> None:
        """Keep what a part gave."""
        for sample in samples:
            kept = self.readings.setdefault((part, sample.quantity), [])
            kept.append((at_s, sample))

    def on_event(self, event: SourceFault | SourceOk) -> None:
        """Keep a fault until its end."""
        if isinstance(event, SourceFault):
            self.faults[event.source] = event
        else:
            self.faults.pop(event.source, None)

    def lookup(self, part: str, quantity: str, max_age_s: float) -> float | None:
        """Lend a part's last value, where it is not too old."""
        kept = self.readings.get((part, quantity))
        if not kept or self.clock.monotonic() - kept[-1][0] > max_age_s:
            return None
        return kept[-1][1].value

    def values(
        self, part: str, quantity: str, since_s: float = float("-inf")
    ) -> list[float]:
        """Return a part's values of a quantity since a moment."""
        kept = self.readings.get((part, quantity), ())
        return [sample.value for at_s, sample in kept if at_s >= since_s]


@asynccontextmanager
async def sampling(
    settings: Settings,
    taker: SampleSink,
    clock: Clock,
    wires: Wires,
    make: MakeCodec = from_config,
) -> AsyncIterator[Wired]:
    """Sample every part of a config while the block runs, then leave the wires alone.

    A driver's own mistake is a fault of its part, and ends no other's sampling.
    """
    buses = {name: bus.device for name, bus in settings.i2c.items()}
    wired = wire(settings.parts, buses, taker, clock, wires, make)

    async def sample(index: int) -> None:
        sampler = wired.samplers[index]
        try:
            await sampler.run()
        except Exception as bug:
            text = f"{sampler.name}: its driver stumbled ({type(bug).__name__}: {bug})"
            taker.on_event(SourceFault(sampler.name, "blocked", text))

    try:
        async with asyncio.TaskGroup() as group:
            tasks = [
                group.create_task(sample(index), name=f"part-{sampler.name}")
                for index, sampler in enumerate(wired.samplers)
            ]
            try:
                yield wired
            finally:
                for task in tasks:
                    task.cancel()
    finally:
        wired.close()
