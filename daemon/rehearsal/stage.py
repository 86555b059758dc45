"""The emulated wires of one night: every part of the config, on emulated lines."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cabinvigil.daemon.buses import I2cBus, KernelFile, SerialPort
from cabinvigil.daemon.rehearsal.emulated import ads1115, known
from cabinvigil.daemon.rehearsal.emulated.ads1115 import Volts
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.wires import EmulatedSerial, EmulatedSMBus
from cabinvigil.daemon.settings_values import PartSettings
from cabinvigil.daemon.streaming import OpenPort
from cabinvigil.daemon.wiring import Wires
from cabinvigil.drivers import part as find_part

SEED_STEP = 7919
"""A prime between the parts' seeds, so that no two nights share their noise."""


class NotEmulatedError(ValueError):
    """The config names a kind of part that has no emulated fellow."""


@dataclass
class Stage:
    """What hangs where; made anew for every night."""

    folder: Path
    """For the ports' names and the kernel's files."""
    air: Callable[[], AirNow]
    now: Callable[[], float]
    seed: int = 1
    buses: dict[str, EmulatedSMBus] = field(default_factory=dict)
    ports: dict[str, EmulatedSerial] = field(default_factory=dict)
    files: dict[str, Any] = field(default_factory=dict)
    parts: dict[str, Any] = field(default_factory=dict)
    """Every emulated part by its config name, for what a night does to it."""
    addresses: dict[str, tuple[str, int]] = field(default_factory=dict)
    """Bus and address of each part on I2C."""

    def hang(self, settings: Mapping[str, PartSettings]) -> None:
        """Hang every part.

        Raises:
            NotEmulatedError: a kind that cannot be emulated.
        """
        converters: dict[tuple[str, int], dict[str, Volts]] = {}
        for index, (name, part) in enumerate(settings.items()):
            seed = self.seed * SEED_STEP + index
            info = find_part(part.kind)
            if part.kind in known.ON_I2C:
                made = known.ON_I2C[part.kind](self.air, seed, self.now)
                self._attach(name, part, part.address or info.address, made)
            elif part.kind in known.AT_A_CONVERTER:
                address = part.address or info.address
                volts = known.AT_A_CONVERTER[part.kind](self.air, seed, self.now)
                converters.setdefault((part.bus or "", address), {})[part.kind] = volts
                self.addresses[name] = (part.bus or "", address)
            elif part.kind in known.ON_SERIAL:
                line = known.ON_SERIAL[part.kind](self.air, seed, self.now)
                self.parts[name] = line
                self.ports[name] = EmulatedSerial(self.folder / name, line)
            elif part.kind in known.IN_A_FILE:
                self._file(name, known.IN_A_FILE[part.kind](self.air, seed, self.now))
            else:
                raise NotEmulatedError(
                    f"part {name}: kind {part.kind} has no emulated fellow; take it "
                    "out of the config that you rehearse"
                )
        for (bus, address), cells in converters.items():
            made = ads1115.converter(cells, self.seed * SEED_STEP + address, self.now)
            self.bus(bus).attach(address, made)

    def bus(self, name: str) -> EmulatedSMBus:
        """Return a bus, made when first asked for."""
        return self.buses.setdefault(name, EmulatedSMBus())

    def _attach(self, name: str, part: PartSettings, address: int, made: Any) -> None:
        self.parts[name] = made
        self.addresses[name] = (part.bus or "", address)
        self.bus(part.bus or "").attach(address, made)

    def _file(self, name: str, made: Any) -> None:
        self.parts[name] = made
        self.files[name] = made

    def wires(self) -> Wires:
        """Return what the samplers hang on."""
        return Wires(i2c=self._i2c, serial=self._serial, file=self._kernel_file)

    def _i2c(self, name: str, device: str) -> I2cBus:
        bus = self.bus(name)
        return I2cBus(name, device, open_smbus=lambda _path: bus, blocking=False)

    def _serial(self, name: str, _part: PartSettings, baud: int) -> OpenPort:
        wire = self.ports[name]

        def make(on_bytes: Any, on_gone: Any) -> SerialPort:
            return SerialPort(
                wire.path, baud, on_bytes, on_gone, after_write=wire.after_write
            )

        return make

    def _kernel_file(self, name: str, _part: PartSettings) -> KernelFile:
        return _EmulatedFile(self.folder / name, self.files[name])

    def strike(self) -> None:
        """Take the ports away."""
        for port in self.ports.values():
            port.close()


class _EmulatedFile(KernelFile):
    """A kernel file that its part writes anew before each read."""

    def __init__(self, path: Path, part: Any) -> None:
        super().__init__(str(path), blocking=False)
        self._file = path
        self._part = part

    async def read(self) -> bytes:
        """Read what the part serves now."""
        await asyncio.sleep(0)
        self._file.write_bytes(self._part.text())
        return await super().read()
