"""Look at the parts for a while, as `span`, `precheck` and `parts --scan` do."""

import asyncio
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from cabinvigil.daemon.clock import Clock, SystemClock, VirtualClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.faults import Span as FaultSpan
from cabinvigil.daemon.rehearsal.play import START_WALL
from cabinvigil.daemon.rehearsal.stage import Stage
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.wiring import (
    REAL,
    MakeCodec,
    Taker,
    Wired,
    Wires,
    from_config,
    wire,
)
from cabinvigil.daemon.settings.config import Settings, example, load
from cabinvigil.drivers.kit.steps import Sample

T = TypeVar("T")
Job = Callable[[Wires, Clock], Awaitable[T]]
"""What is done with the wires, real or emulated."""

DEFAULT = Path("/etc/cabinvigil/cabin.toml")
"""Where the config lies if none is named."""
FRESH = AirNow()
"""Doors open: outdoor air, as the parts of the rehearsal see it."""
CLOSED = AirNow(o2_pct=19.6, co2_ppm=4200.0, co_ppm=9.0, temp_c=17.0, rh_pct=88.0)
"""An hour after the doors were shut with the burner on."""


def meant(config: Path | None, *, is_emulated: bool) -> Settings:
    """Read the config that a call means; the example's where parts are emulated.

    Raises:
        ConfigError: with every mistake of the file.
    """
    if config is None and is_emulated:
        return example()
    return load(config or DEFAULT)


@dataclass
class Looker:
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
    taker: Taker,
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


def run_on_wires(
    job: Job[T],
    settings: Settings,
    emulated: AirNow | None = None,
    *,
    seed: int = 1,
    failures: tuple[FaultSpan, ...] = (),
) -> T:
    """Do something on the real wires, or on emulated ones in virtual time.

    Args:
        job: what is done.
        settings: whose parts hang on emulated wires.
        emulated: the air that emulated parts hang in; None takes the real wires.
        seed: of the emulated parts' own errors.
        failures: on emulated wires.

    Raises:
        NotEmulatedError: a kind that cannot be emulated.
    """
    if emulated is None:
        return asyncio.run(_real(job))
    return run_virtual(_staged(job, settings, emulated, seed, failures))


async def _real(job: Job[T]) -> T:
    return await job(REAL, SystemClock())


async def _staged(
    job: Job[T],
    settings: Settings,
    air: AirNow,
    seed: int,
    failures: tuple[FaultSpan, ...],
) -> T:
    loop = asyncio.get_running_loop()
    clock = VirtualClock(loop, START_WALL)
    with tempfile.TemporaryDirectory(prefix="cabinvigil-") as folder:
        stage = Stage(
            Path(folder), lambda: air, loop.time, loop.call_at, seed, failures
        )
        stage.hang(settings.parts)
        try:
            return await job(stage.wires(), clock)
        finally:
            with suppress(OSError):
                stage.strike()
