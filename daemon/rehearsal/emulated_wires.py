"""The emulated wires of one night: every part of the config, on lines that may fail."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cabinvigil.daemon.rehearsal.emulated import ads1115, known
from cabinvigil.daemon.rehearsal.emulated.ads1115 import Pair, Volts
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.frame9 import EmulatedFrame9Co2
from cabinvigil.daemon.rehearsal.emulated.o2_line import EmulatedO2Line
from cabinvigil.daemon.rehearsal.emulated.own_figures import own_figures
from cabinvigil.daemon.rehearsal.emulated.placed import seen_from
from cabinvigil.daemon.rehearsal.emulated.ways import See, SerialPart
from cabinvigil.daemon.rehearsal.faults import WHOLE_BUS, FaultSpan
from cabinvigil.daemon.rehearsal.faulty import FaultySMBus, FaultyText
from cabinvigil.daemon.rehearsal.faulty_line import FaultyLine
from cabinvigil.daemon.rehearsal.faulty_serial import FaultySerialPart, plug_by
from cabinvigil.daemon.rehearsal.wires import (
    EmulatedFile,
    EmulatedSerial,
    EmulatedSMBus,
    TextPart,
)
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile
from cabinvigil.daemon.sampling.line_sampler import LevelFile
from cabinvigil.daemon.sampling.serial_port import SerialPort
from cabinvigil.daemon.sampling.stream_sampler import OpenPort
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.drivers import part as find_part

EVENING_S = 3600.0
"""An oxygen cell that was just connected settles: like oxygen that falls, and no flame
that explains it (our choice)."""
SEED_STEP = 7919
"""A prime between the parts' seeds, so that no two nights share their noise."""


def _own(part: PartSettings) -> dict[str, Any]:
    return own_figures(part.kind, part.options)


class NotEmulatedError(CabinvigilError, ValueError):
    """The config names a kind of part that has no emulated fellow."""


@dataclass
class EmulatedWires:
    """What hangs where; made again for every night."""

    folder: Path
    """For the ports' names."""
    air: Callable[[], AirNow]
    now: Callable[[], float]
    at: Callable[..., object]
    """Calls a function at a moment of `now`, as a loop's `call_at`."""
    seed: int = 1
    failures: Sequence[FaultSpan] = ()
    """What goes wrong on which wire, and when."""
    is_evening: bool = False
    """The parts have been on for hours: oxygen cells have settled, and a CO2 module was
    set in fresh air."""
    buses: dict[str, EmulatedSMBus] = field(default_factory=dict)
    addresses: dict[str, dict[str, int]] = field(default_factory=dict)
    """By bus: the address of each part."""
    ports: dict[str, EmulatedSerial] = field(default_factory=dict)
    files: dict[str, TextPart] = field(default_factory=dict)
    lines: dict[str, FaultyLine] = field(default_factory=dict)

    def attach(self, settings: Mapping[str, PartSettings]) -> None:
        """Hang every part.

        Raises:
            NotEmulatedError: a kind that cannot be emulated.
        """
        converters: dict[tuple[str, int], dict[str, Volts | Pair]] = {}
        for index, (name, part) in enumerate(settings.items()):
            seed = self.seed * SEED_STEP + index
            air = seen_from(part.place, part.kind, self.air)
            if part.kind in known.ON_I2C:
                self._on_i2c(name, part, air, seed)
            elif part.kind in known.AT_A_CONVERTER:
                at = (part.bus or "", self._address(name, part))
                make, own = known.AT_A_CONVERTER[part.kind], _own(part)
                if part.kind in known.GALVANIC:
                    own["on_for_s"] = EVENING_S * self.is_evening
                volts = make(air, seed, self.now, **own)
                pins = str(part.options.get("pins", "0-1"))
                converters.setdefault(at, {})[pins] = volts
            elif part.kind in known.ON_SERIAL:
                self._on_serial(name, part, air, seed)
            elif part.kind in known.IN_A_FILE:
                made = known.IN_A_FILE[part.kind](air, seed, self.now)
                self.files[name] = FaultyText(name, made, self.failures, seed, self.now)
            elif part.kind in known.ON_A_LINE:
                line = self._on_a_line(name, part, air, seed)
                if part.bus is not None:
                    at = (part.bus, part.address or 0)
                    pins = str(part.options.get("pins", "0"))
                    converters.setdefault(at, {})[pins] = line.volts
            else:
                raise NotEmulatedError(
                    f"sensor {name}: kind {part.kind} has no emulated counterpart; "
                    "remove it from the config that you rehearse"
                )
        for (bus, address), cells in converters.items():
            seed = self.seed * SEED_STEP + address
            self._bus(bus).attach(address, ads1115.converter(cells, seed, self.now))

    def _bus(self, name: str) -> EmulatedSMBus:
        return self.buses.setdefault(name, EmulatedSMBus())

    def _address(self, name: str, part: PartSettings) -> int:
        address = part.address or find_part(part.kind).address
        self.addresses.setdefault(part.bus or "", {})[name] = address
        return address

    def _on_i2c(self, name: str, part: PartSettings, air: See, seed: int) -> None:
        made = known.ON_I2C[part.kind](air, seed, self.now, **_own(part))
        self._bus(part.bus or "").attach(self._address(name, part), made)

    def _on_a_line(
        self, name: str, part: PartSettings, air: See, seed: int
    ) -> FaultyLine:
        means = part.means or "smoke"
        make = known.ON_A_LINE[part.kind]
        made = make(air, seed, self.now, means=means, part=name, **_own(part))
        self.lines[name] = FaultyLine(
            name,
            made,
            self.failures,
            seed,
            self.now,
            active_low=part.active_low is not False,
        )
        return self.lines[name]

    def _on_serial(self, name: str, part: PartSettings, air: See, seed: int) -> None:
        kind = part.kind
        line = known.ON_SERIAL[kind](air, seed, self.now, **_own(part))
        if isinstance(line, EmulatedO2Line) or (
            self.is_evening and isinstance(line, EmulatedFrame9Co2)
        ):
            line.span()
        if not self._fails(name):
            self.ports[name] = EmulatedSerial(self.folder / name, line)
            return
        other = "frame9_o2" if kind != "frame9_o2" else "frame9_co"
        stranger: SerialPart = known.ON_SERIAL[other](air, seed, self.now)
        faulty = FaultySerialPart(
            name, line, self.failures, seed, self.now, stranger=stranger
        )
        wire = EmulatedSerial(self.folder / name, faulty)
        plug_by(wire, name, self.failures, self.now)
        self.ports[name] = wire

    def wires(self) -> Wires:
        """Return what the samplers read from."""
        return Wires(
            i2c=self._i2c, serial=self._serial, file=self._kernel_file, line=self._line
        )

    def _fails(self, name: str) -> bool:
        """Return whether a wire needs the wrapper; a sound one is faster without."""
        return any(span.part == name for span in self.failures)

    def _i2c(self, name: str, device: str) -> I2cBus:
        bus: EmulatedSMBus | FaultySMBus = self._bus(name)
        addresses = self.addresses.get(name, {})
        if any(self._fails(one) for one in (WHOLE_BUS, *addresses)):
            bus = FaultySMBus(
                self._bus(name), addresses, self.failures, self.seed, self.now
            )
            bus.keep_time(self.at)
        return I2cBus(name, device, open_smbus=lambda _path: bus, blocking=False)

    def _serial(self, name: str, _part: PartSettings, baud: int) -> OpenPort:
        wire = self.ports[name]

        def make(on_bytes: Any, on_gone: Any) -> SerialPort:
            return SerialPort(
                wire.path,
                baud,
                on_bytes,
                on_gone,
                after_write=wire.after_write,
                blocking=False,
            )

        return make

    def _kernel_file(self, name: str, part: PartSettings) -> KernelFile:
        return EmulatedFile(part.path or str(self.folder / name), self.files[name])

    def _line(self, name: str, part: PartSettings) -> LevelFile:
        line = self.lines[name]
        return LevelFile(part.line or "", lambda: line, blocking=False)

    def close(self) -> None:
        """Take the ports away."""
        for port in self.ports.values():
            port.close()
