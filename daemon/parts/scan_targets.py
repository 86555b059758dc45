"""Which wires a scan looks at: this machine's, or the emulated ones of a config."""

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from cabinvigil.daemon.parts.scan import ScanTargets
from cabinvigil.daemon.parts.scan_channels import with_channels
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import OpenPort
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.bus_names import I2cNames, bus_number
from cabinvigil.daemon.settings.config import PartSettings, Settings
from cabinvigil.daemon.settings.ports import SerialNames
from cabinvigil.drivers import part as find_part

HEADER_BUS = "/dev/i2c-1"
"""The bus on a Pi's header; the others lead to screens and cameras, and are looked at
only where a config or the call names them."""
PORT_PATTERNS = (
    "dev/serial0",
    "dev/serial1",
    "dev/ttyUSB*",
    "dev/ttyACM*",
    "dev/ttyAMA*",
)
"""Behind the links that stay the same: a port with two names is looked at once."""
ONE_WIRE = "sys/bus/w1/devices/28-*/w1_slave"
"""The kernel's folder of a DS18B20 begins with its family's number (unverified)."""


@dataclass(frozen=True)
class DeviceTree:
    """Where devices are looked for; tests bring a folder of their own."""

    root: Path = Path("/")

    def glob(self, pattern: str) -> list[str]:
        """Return the paths that there are, in order."""
        return sorted(str(path) for path in self.root.glob(pattern))


def _open_at(path: str, baud: int) -> OpenPort:
    return lambda on_bytes, on_gone: SerialPort(path, baud, on_bytes, on_gone)


def ports(machine: DeviceTree, named: Iterable[str]) -> list[str]:
    """Return every serial port once, those that the config names under that name."""
    found: dict[str, str] = {}
    for path in [
        *named,
        *SerialNames(machine.root).links(),
        *(path for pattern in PORT_PATTERNS for path in machine.glob(pattern)),
    ]:
        found.setdefault(os.path.realpath(path), path)
    return list(found.values())


def real_ground(
    settings: Settings | None,
    more_buses: Iterable[str],
    machine: DeviceTree | None = None,
    wires: Wires | None = None,
) -> ScanTargets:
    """Return this machine's wires.

    Args:
        settings: whose buses, ports and files are looked at too; None: no config.
        more_buses: device files of buses that the call names.
        machine: where devices are looked for.
        wires: make the lines of its contacts; None: none is looked at.
    """
    machine = machine or DeviceTree()
    buses: dict[str, str] = {}
    named_ports: list[str] = []
    named_files: list[str] = []
    lines: dict[str, KernelFile] = {}
    if settings is not None:
        for name, bus in settings.i2c.items():
            _add(buses, bus.device, name)
        parts = settings.parts.values()
        named_ports = [part.port for part in parts if part.port is not None]
        named_files = [part.path for part in parts if part.path is not None]
        lines = _lines(settings, wires) if wires is not None else {}
    if not buses and machine.glob(HEADER_BUS.lstrip("/")):
        buses[HEADER_BUS] = "main"
    for device in more_buses:
        _add(buses, device, Path(device).name)
    names = I2cNames(machine.root)
    known = {} if settings is None else settings.i2c
    own = {bus.device: name for name, bus in known.items()}
    buses, channels = with_channels(buses, own, names)
    made = [I2cBus(name, device) for device, name in buses.items()]
    first: dict[int | str, I2cBus] = {}
    for one in made:
        one.share_turns(first.setdefault(names.wire(one.device), one))
    files = dict.fromkeys([*named_files, *machine.glob(ONE_WIRE)])
    return ScanTargets(
        made,
        {path: partial(_open_at, path) for path in ports(machine, named_ports)},
        {path: KernelFile(path) for path in files},
        lines=lines,
        channels=channels,
    )


def _add(buses: dict[str, str], device: str, name: str) -> None:
    """Take a bus, unless it is there by another name of its device."""
    number = bus_number(device)
    if number is None or all(bus_number(one) != number for one in buses):
        buses.setdefault(device, name)


def _lines(settings: Settings, wires: Wires) -> dict[str, KernelFile]:
    return {
        part.line: wires.line(name, part)
        for name, part in settings.parts.items()
        if part.line is not None
    }


def with_one_part(settings: Settings, kind: str) -> Settings:
    """Return a config with one part alone, of this kind, on its usual wire."""
    info = find_part(kind)
    bus = next(iter(settings.i2c))
    part = {
        "i2c": PartSettings(kind=kind, bus=bus, address=info.address),
        "serial": PartSettings(kind=kind, port="/dev/serial0"),
        "file": PartSettings(kind=kind, path=f"/{ONE_WIRE.replace('*', '0')}"),
        "line": PartSettings(kind=kind, line="GPIO5", means="smoke"),
    }[info.bus]
    return replace(settings, parts={kind: part})


def emulated_ground(settings: Settings, wires: Wires) -> ScanTargets:
    """Return the emulated wires of a config's parts."""
    ports: dict[str, Callable[[int], OpenPort]] = {}
    files: Mapping[str, KernelFile] = {
        part.path: wires.file(name, part)
        for name, part in settings.parts.items()
        if part.path is not None
    }
    for name, part in settings.parts.items():
        if part.port is not None:
            ports[part.port] = partial(wires.serial, name, part)
    return ScanTargets(
        [wires.i2c(name, bus.device) for name, bus in settings.i2c.items()],
        ports,
        files,
        lines=_lines(settings, wires),
    )
