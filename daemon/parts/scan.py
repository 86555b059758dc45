"""What answers on the buses and ports: each part tells itself, as far as it can.

Nothing is set on any part: addresses are read from, known parts are asked who they
are, serial lines are listened to, and only a silent line is asked for a reading.
"""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.parts.scan_channels import Channels, shared_out
from cabinvigil.daemon.sampling.bus_errors import BusError, NoAnswerError, TransferError
from cabinvigil.daemon.sampling.buses import I2cBus, KernelFile
from cabinvigil.daemon.sampling.sampler import TooManyStepsError, run_steps
from cabinvigil.daemon.sampling.stream_sampler import OpenPort
from cabinvigil.drivers import REGISTRY, identifier
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import DriverError, PartInfo, Sample, Transfer

FIRST_ADDRESS, LAST_ADDRESS = 0x08, 0x77
"""What the bus does not keep for itself (NXP UM10204, unverified)."""
MUX_ADDRESSES = range(0x70, 0x78)
"""Of the TCA9548 by its three address pins (data sheet, as the kernel's and the Pi's
overlay's default 0x70)."""
IDENTIFY_S = 1.0
"""The longest exchange by which a part is told takes some milliseconds."""
LISTEN_S = 6.0
"""Two sendings of the slowest part that speaks by itself, 2.3 s (sensors sheet, 6)."""
REFUSED = (NoAnswerError, TransferError)
ANSWER_S = 2.0
ASKED_KINDS = ("frame9_co2", "frame9_co", "frame9_gas", "frame9_o2")
"""Nine-byte modules that only answer: their answers do not say which gas they mean."""
LEAST_CO2_PPM = 250.0
"""An answer above this is CO2: no CO or O2 module counts so high in fit air."""


@dataclass(frozen=True, slots=True)
class ScanAnswer:
    """What was found at one place of a wire."""

    where: str
    """`0x62`, a port's path, a file's path."""
    kinds: tuple[str, ...] = ()
    """The parts that it can be; more than one where it does not say which."""
    text: str = ""
    """What else there is to say, as a clause."""
    is_there: bool = True
    """False: a port that is silent, or cannot be opened."""
    is_mux: bool = False
    """It is a multiplexer that the kernel switches."""


@dataclass(frozen=True)
class ScanTargets:
    """The wires to look at."""

    buses: Sequence[I2cBus] = ()
    ports: Mapping[str, Callable[[int], OpenPort]] = field(default_factory=dict)
    """By path: makes the port at a speed."""
    files: Mapping[str, KernelFile] = field(default_factory=dict)
    channels: Channels = field(default_factory=Channels)
    """How the buses hang together."""
    lines: Mapping[str, KernelFile] = field(default_factory=dict)
    """Those that a config names: a line itself says nothing of what depends on it."""

    def close(self) -> None:
        """Leave the wires alone; a port is open only while it is listened to."""
        for bus in self.buses:
            bus.close()
        for file in (*self.files.values(), *self.lines.values()):
            file.close()


@dataclass(frozen=True)
class Scan:
    """Everything that was found."""

    buses: Mapping[str, Sequence[ScanAnswer] | str]
    """By the bus's name; a sentence where the bus itself failed."""
    ports: Sequence[ScanAnswer]
    files: Sequence[ScanAnswer]
    lines: Sequence[ScanAnswer] = ()
    devices: Mapping[str, str] = field(default_factory=dict)
    """Device file by the bus's name."""
    channels: Channels = field(default_factory=Channels)


async def scan(ground: ScanTargets) -> Scan:
    """Look at every wire: buses and ports side by side, addresses one by one."""
    await asyncio.sleep(max(find_part(kind).start_up_s for kind in REGISTRY))
    async with asyncio.TaskGroup() as group:
        buses = [
            group.create_task(scan_bus(bus, ground.channels), name=f"scan-{bus.name}")
            for bus in ground.buses
        ]
        ports = [
            group.create_task(scan_port(path, make), name=f"scan-{path}")
            for path, make in ground.ports.items()
        ]
        files = [
            group.create_task(scan_file(path, file), name=f"scan-{path}")
            for path, file in ground.files.items()
        ]
        lines = [
            group.create_task(scan_line(name, line), name=f"scan-{name}")
            for name, line in ground.lines.items()
        ]
    found = {
        bus.name: task.result() for bus, task in zip(ground.buses, buses, strict=True)
    }
    return Scan(
        _own(found, ground.channels),
        [task.result() for task in ports],
        [task.result() for task in files],
        [task.result() for task in lines],
        {bus.name: bus.device for bus in ground.buses},
        ground.channels,
    )


def _own(
    found: Mapping[str, Sequence[ScanAnswer] | str], channels: Channels
) -> dict[str, Sequence[ScanAnswer] | str]:
    """Leave each bus the answers that are its own."""
    seen = {
        bus: frozenset(one.where for one in answers if not one.is_mux)
        for bus, answers in found.items()
        if not isinstance(answers, str)
    }
    own = shared_out(seen, channels.before)
    return {
        bus: answers
        if isinstance(answers, str)
        else [one for one in answers if one.is_mux or one.where in own[bus]]
        for bus, answers in found.items()
    }


# --- I2C ---------------------------------------------------------------------


def kinds_at(address: int) -> list[str]:
    """Return the kinds that can have this address, in the registry's order."""
    return [kind for kind in REGISTRY if address in find_part(kind).addresses]


async def scan_bus(
    bus: I2cBus, channels: Channels | None = None
) -> Sequence[ScanAnswer] | str:
    """Return what answers on a bus, or why the bus does not work."""
    channels = channels or Channels()
    muxes, heard = channels.muxes.get(bus.name, {}), channels.heard_at(bus.name)
    answers = []
    try:
        for address in range(FIRST_ADDRESS, LAST_ADDRESS + 1):
            if address in muxes:
                where = f"0x{address:02x}"
                answers.append(ScanAnswer(where, (), muxes[address], is_mux=True))
            if address in heard:
                continue
            found = await _address(bus, address)
            if found is not None:
                answers.append(found)
    except BusError as error:
        return str(error)
    return answers


async def _address(bus: I2cBus, address: int) -> ScanAnswer | None:
    """Return what answers at an address; None where nobody does.

    Raises:
        BusError: the bus itself fails.
    """
    where = f"0x{address:02x}"
    named = [kind for kind in kinds_at(address) if await _is(bus, address, kind)]
    if named:
        return ScanAnswer(where, tuple(named))
    if not await _acknowledges(bus, address):
        return None
    mute = [kind for kind in kinds_at(address) if identifier(kind) is None]
    if mute:
        text = "it may be this, but cannot be distinguished from others"
        return ScanAnswer(where, tuple(mute), text)
    text = await _sister(bus, address)
    if not text and address in MUX_ADDRESSES:
        text = (
            "no known sensor; a multiplexer needs a dtoverlay=i2c-mux line "
            "(hardware.md)"
        )
    return ScanAnswer(where, (), text)


async def _sister(bus: I2cBus, address: int) -> str:
    """Return which known part answers that none here reads; nothing where none does."""
    for kind in kinds_at(address):
        sisters = find_part(kind).sisters
        for register, names in sisters.items():
            try:
                got = await bus.transfer(address, Transfer(bytes([register]), 1))
            except (NoAnswerError, TransferError):
                continue
            if got in names:
                return f"a {names[got]}, which this monitor does not read"
    return ""


async def _is(bus: I2cBus, address: int, kind: str) -> bool:
    """Ask whether it is this kind; one that refuses one question may take the next."""
    identify = identifier(kind)
    if identify is None:
        return False
    try:
        async with asyncio.timeout(IDENTIFY_S):
            return await run_steps(bus, address, identify(), refused=REFUSED)
    except (DriverError, TooManyStepsError, TimeoutError):
        return False


async def _acknowledges(bus: I2cBus, address: int) -> bool:
    try:
        await bus.transfer(address, Transfer(rx_len=1))
    except (NoAnswerError, TransferError):
        return False
    return True


# --- serial ------------------------------------------------------------------


def _as_asked(info: PartInfo) -> dict[str, Any]:
    """Return a module's options as one that is asked; its scale is no matter here."""
    scale = {"answer_ppm": 1.0} if "answer_ppm" in info.options else {}
    return {"mode": "question", **scale}


class _Ear:
    """Hands what comes on a line to the codec of every serial part."""

    def __init__(self, baud: int) -> None:
        self.codecs: list[tuple[str, Any]] = []
        self.samples: dict[str, list[Sample]] = {}
        self.heard_bytes = 0
        for kind in REGISTRY:
            info = find_part(kind)
            if info.bus == "serial" and info.baud == baud:
                self.codecs.append((kind, info.make({})))
                if "mode" in info.options:
                    self.codecs.append((kind, info.make(_as_asked(info))))
                self.samples[kind] = []

    def on_bytes(self, data: bytes) -> None:
        """Feed every codec; what it cannot use is not its kind's."""
        self.heard_bytes += len(data)
        for kind, codec in self.codecs:
            try:
                self.samples[kind] += codec.feed(data)
            except DriverError:
                continue

    def on_gone(self, error: BusError) -> None:
        """Take no note: a port that vanishes is silent from then on."""

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds whose codec read something.

        Where a message names what it measures, only those that read the name.
        """
        read = [kind for kind, samples in self.samples.items() if samples]
        infos = {kind: find_part(kind) for kind in read}
        named = [kind for kind in read if infos[kind].says_what(_as_asked(infos[kind]))]
        return tuple(named or read)


async def scan_port(path: str, make: Callable[[int], OpenPort]) -> ScanAnswer:
    """Listen to a port at every speed that a part has, then ask; say what is there."""
    bauds = sorted(
        {find_part(k).baud for k in REGISTRY if find_part(k).bus == "serial"}
    )
    heard = 0
    for baud in bauds:
        ear = _Ear(baud)
        port = make(baud)(ear.on_bytes, ear.on_gone)
        try:
            await port.open()
        except BusError as error:
            return ScanAnswer(path, (), str(error), is_there=False)
        try:
            await asyncio.sleep(LISTEN_S)
            if ear.kinds:
                return ScanAnswer(path, ear.kinds)
            for question in _questions(baud) if not ear.heard_bytes else ():
                port.write(question)
                await asyncio.sleep(ANSWER_S)
                if ear.kinds:
                    break
        finally:
            await port.close()
        if ear.kinds:
            return _asked(path, ear)
        heard += ear.heard_bytes
    if heard:
        return ScanAnswer(path, (), f"sends {heard} bytes that no known sensor sends")
    return ScanAnswer(path, (), "silent", is_there=False)


def _questions(baud: int) -> list[bytes]:
    """Return what a silent port is asked, in the registry's order, each once."""
    infos = [find_part(kind) for kind in REGISTRY]
    asked = [one.question for one in infos if one.question and one.baud == baud]
    return list(dict.fromkeys(asked))


def _asked(path: str, ear: _Ear) -> ScanAnswer:
    """Tell a module that only answers: by its gas's name, or by how much it counts."""
    if not set(ear.kinds) <= set(ASKED_KINDS):
        return ScanAnswer(path, ear.kinds)
    co2 = [sample.value for sample in ear.samples.get("frame9_co2", ())]
    if co2 and co2[-1] >= LEAST_CO2_PPM:
        return ScanAnswer(
            path, ("frame9_co2",), f"it responds {co2[-1]:.0f} when asked"
        )
    kinds = tuple(kind for kind in ASKED_KINDS if kind in ear.kinds)
    if not kinds:
        return ScanAnswer(path, ear.kinds, "it responds when asked")
    return ScanAnswer(
        path, kinds, "it only responds, and does not say which gas it means"
    )


# --- 1-wire ------------------------------------------------------------------


async def scan_file(path: str, file: KernelFile) -> ScanAnswer:
    """Read a 1-wire part's file; say which part gives such a text."""
    try:
        text = await file.read()
    except BusError as error:
        return ScanAnswer(path, (), str(error), is_there=False)
    why = ""
    for kind in REGISTRY:
        info = find_part(kind)
        if info.bus != "file":
            continue
        try:
            if info.make({}).feed(text):
                return ScanAnswer(path, (kind,))
        except DriverError as error:
            why = str(error)
    return ScanAnswer(path, (), why or "its text is from no known sensor")


# --- lines -------------------------------------------------------------------


async def scan_line(name: str, line: KernelFile) -> ScanAnswer:
    """Look at a contact's line; say how it stands."""
    try:
        (sample,) = find_part("contact").make({}).feed(await line.read())
    except (BusError, DriverError) as error:
        return ScanAnswer(name, (), str(error), is_there=False)
    how = "it reports something now" if sample.value else "it is at rest"
    return ScanAnswer(name, ("contact",), how)
