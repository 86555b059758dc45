"""Emulated wires and samplers for tests: a small cabin in virtual time."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import Clock, VirtualClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.faults import FaultSpan
from cabinvigil.daemon.rehearsal.faulty import FaultySMBus, FaultyText
from cabinvigil.daemon.rehearsal.faulty_line import FaultyLine
from cabinvigil.daemon.rehearsal.faulty_serial import FaultySerialPart, plug_by
from cabinvigil.daemon.rehearsal.wires import (
    EmulatedFile,
    EmulatedSerial,
    EmulatedSMBus,
)
from cabinvigil.daemon.sampling.buses import I2cBus
from cabinvigil.daemon.sampling.line_sampler import LevelFile, LineSampler
from cabinvigil.daemon.sampling.sampler import (
    FileSampler,
    PolledSampler,
    Sampler,
    SamplerContext,
)
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import StreamSampler
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import Sample

START = datetime(2026, 1, 14, 21, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Fails:
    """A fault for a while; has the shape of `nights.Failure`."""

    part: str
    fault: str
    from_s: float
    to_s: float


@dataclass
class Cabin:
    """What samplers deliver, and the wires that they hang on."""

    folder: Path
    air: AirNow = field(default_factory=AirNow)
    readings: list[tuple[float, str, Sample]] = field(default_factory=list)
    events: list[tuple[float, SourceFault | SourceOk]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.loop = asyncio.get_running_loop()
        self.clock: Clock = VirtualClock(self.loop, START)
        self.smbus = EmulatedSMBus()
        self.addresses: dict[str, int] = {}
        self.spans: Sequence[FaultSpan] = ()
        self.bus = I2cBus(
            "main", "/dev/i2c-1", open_smbus=lambda _: self.faulty, blocking=False
        )
        self.faulty = FaultySMBus(self.smbus, {}, (), 1, self.loop.time)
        self.serials: list[EmulatedSerial] = []

    def placing(self, name: str, kind: str, **changes: Any) -> SamplerContext:
        info = replace(find_part(kind), **changes)
        return SamplerContext(
            name=name,
            info=info,
            codec=info.make({}),
            clock=self.clock,
            on_reading=self.on_reading,
            on_event=self.on_event,
            lookup={"pressure_hpa": 939.0, "temp_c": 15.0, "rh_pct": 75.0}.get,
        )

    def on_reading(self, name: str, samples: list[Sample], at_s: float) -> None:
        self.readings.extend((at_s, name, sample) for sample in samples)

    def on_event(self, event: SourceFault | SourceOk) -> None:
        self.events.append((self.loop.time(), event))

    def sampler(self, name: str, kind: str, seed: int = 1) -> Sampler:
        info = find_part(kind)
        air, now = (lambda: self.air), self.loop.time
        placing = self.placing(name, kind)
        if info.bus == "i2c":
            self.smbus.attach(info.address, known.ON_I2C[kind](air, seed, now))
            self.addresses[name] = info.address
            return PolledSampler(placing, self.bus, info.address)
        if info.bus == "file":
            text = FaultyText(
                name, known.IN_A_FILE[kind](air, seed, now), self.spans, seed, now
            )
            path = str(self.folder / "no" / "w1_slave")
            return FileSampler(placing, EmulatedFile(path, text))
        if info.bus == "line":
            contact = known.ON_A_LINE[kind](air, seed, now)
            faulty = FaultyLine(name, contact, self.spans, seed, now)
            level = LevelFile("GPIO5", lambda: faulty, blocking=False)
            return LineSampler(placing, level)
        line = FaultySerialPart(
            name, known.ON_SERIAL[kind](air, seed, now), self.spans, seed, now
        )
        serial = EmulatedSerial(self.folder / name, line)
        plug_by(serial, name, self.spans, now)
        self.serials.append(serial)
        return StreamSampler(
            placing,
            lambda on_bytes, on_gone: SerialPort(
                serial.path,
                info.baud,
                on_bytes,
                on_gone,
                after_write=serial.after_write,
                blocking=False,
            ),
        )

    def of(self, name: str, quantity: str) -> list[tuple[float, Sample]]:
        return [
            (at_s, sample)
            for at_s, part, sample in self.readings
            if part == name and sample.quantity == quantity
        ]

    def told(self, source: str) -> list[tuple[float, str]]:
        """Return when which fault of a source was told, '' for its end."""
        return [
            (at_s, event.kind if isinstance(event, SourceFault) else "")
            for at_s, event in self.events
            if event.source == source
        ]


async def live(
    folder: Path,
    kinds: Mapping[str, str],
    for_s: float,
    *spans: FaultSpan,
    air: AirNow | None = None,
    meanwhile: Callable[[Cabin], Any] | None = None,
) -> Cabin:
    """Sample parts, by name and kind, for a while, with faults on their wires."""
    cabin = Cabin(folder, air or AirNow())
    cabin.spans = spans
    async with AsyncExitStack() as stack:
        samplers = [cabin.sampler(name, kind) for name, kind in kinds.items()]
        for serial in cabin.serials:
            stack.callback(serial.close)
        cabin.faulty = FaultySMBus(
            cabin.smbus, cabin.addresses, spans, 1, cabin.loop.time
        )
        cabin.faulty.keep_time(cabin.loop.call_at)
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(sampler.run()) for sampler in samplers]
            if meanwhile is not None:
                await meanwhile(cabin)
            await asyncio.sleep(for_s)
            for task in tasks:
                task.cancel()
    return cabin
