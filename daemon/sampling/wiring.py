"""From settings to samplers: which part depends on which wire."""

import errno
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile
from cabinvigil.daemon.sampling.line_sampler import LevelFile, LineSampler
from cabinvigil.daemon.sampling.sampler import (
    FileSampler,
    PolledSampler,
    Sampler,
    SamplerContext,
)
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import OpenPort, StreamSampler
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers.kit.steps import PartInfo, Sample


@dataclass(frozen=True)
class Wires:
    """Makes what parts are on; the rehearsal brings emulated ones."""

    i2c: Callable[[str, str], I2cBus]
    """From a bus's name and device file."""
    serial: Callable[[str, PartSettings, int], OpenPort]
    """From a part's name, its settings and its speed."""
    file: Callable[[str, PartSettings], KernelFile]
    """From a part's name and its settings."""
    line: Callable[[str, PartSettings], LevelFile]
    """From a part's name and its settings."""


def _no_line(_name: str, part: PartSettings) -> LevelFile:
    def refuse() -> Any:
        raise OSError(errno.ENOSYS, "this program was started without lines")

    return LevelFile(part.line or "", refuse)


def _real_port(_name: str, part: PartSettings, baud: int) -> OpenPort:
    path = part.port or ""
    return lambda on_bytes, on_gone: SerialPort(path, baud, on_bytes, on_gone)


REAL = Wires(
    i2c=I2cBus,
    serial=_real_port,
    file=lambda _name, part: KernelFile(part.path or ""),
    line=_no_line,
)
"""The wires of this machine; its lines are added by who may take them."""


class SampleSink(Protocol):
    """Takes what samplers give: the watcher, or whoever only looks."""

    @property
    def faults(self) -> Mapping[str, SourceFault]:
        """What is at fault now, by source."""
        ...

    def on_reading(self, part: str, samples: list[Sample], at_s: float) -> None:
        """Take what a part gave."""
        ...

    def on_event(self, event: SourceFault | SourceOk) -> None:
        """Take a fault or its end."""
        ...

    def lookup(self, part: str, quantity: str, max_age_s: float) -> float | None:
        """Lend a part's last value of a quantity, where it is not too old."""
        ...


MakeCodec = Callable[[str, PartSettings, PartInfo], Any]
"""Makes a part's codec from its name, its settings and its registry entry."""


def from_config(_name: str, part: PartSettings, info: PartInfo) -> Any:
    """Make a codec from what the config says alone."""
    return info.make(part.options)


def sampler(
    name: str,
    parts: Mapping[str, PartSettings],
    buses: Mapping[str, I2cBus],
    sink: SampleSink,
    clock: Clock,
    wires: Wires,
    make: MakeCodec,
) -> Sampler:
    """Make one part's sampler.

    Args:
        name: the part's.
        parts: by name: others may inform it.
        buses: by name, ready for use.
        sink: takes readings and faults, and lends values for compensation.
        clock: for the sampler.
        wires: real or emulated.
        make: makes the codec.
    """
    part, infos = parts[name], part_infos(parts)
    info = infos[name]
    placing = SamplerContext(
        name=name,
        info=info,
        codec=make(name, part, info),
        clock=clock,
        on_reading=sink.on_reading,
        on_event=sink.on_event,
        lookup=_lookup(part, infos, sink),
    )
    if info.bus == "i2c":
        address = part.address if part.address is not None else info.address
        return PolledSampler(placing, buses[part.bus or ""], address)
    if info.bus == "file":
        return FileSampler(placing, wires.file(name, part))
    if info.bus == "line":
        watching = buses.get(part.bus or "")
        return LineSampler(placing, wires.line(name, part), watching, part.address or 0)
    return StreamSampler(placing, wires.serial(name, part, info.baud))


def _lookup(
    part: PartSettings, infos: Mapping[str, PartInfo], sink: SampleSink
) -> Callable[[str], float | None]:
    sources = part.informed_by

    def lookup(quantity: str) -> float | None:
        other = sources.get(quantity)
        if other is None:
            return None
        return sink.lookup(other, quantity, infos[other].max_age_s)

    return lookup
