"""Which parts of a config would answer for each other, by this machine's buses.

What stands on one bus by name is `parts`' business; this is what only the kernel knows:
two names of one bus, and what a multiplexer lets through.  A channel's bus is never
alone: the bus before the multiplexer, and the multiplexer itself, stay connected to it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from cabinvigil.daemon.settings.bus_names import Adapter, I2cNames, bus_number
from cabinvigil.daemon.settings.errors import Mistake, listed, one_line
from cabinvigil.daemon.settings.values import I2cSettings, PartSettings

ANOTHER_ADDRESS = "give one of the two another address, or a channel of its own"


@dataclass(frozen=True)
class _Seated:
    """A part with an address, and its bus."""

    name: str
    bus: str
    number: int
    address: int
    kind: str


def bus_clashes(
    buses: Mapping[str, I2cSettings],
    parts: Mapping[str, PartSettings],
    file: str,
    names: I2cNames,
) -> Iterator[Mistake]:
    """Yield each clash, with its remedy.

    Args:
        buses: of the config.
        parts: with their addresses filled in.
        file: for the sentences.
        names: the machine's buses.
    """
    numbers = {name: bus_number(bus.device) for name, bus in buses.items()}
    seated = [
        _Seated(name, part.bus or "", number, part.address, part.kind)
        for name, part in parts.items()
        if (number := numbers.get(part.bus or "")) is not None
        and part.address is not None
    ]
    yield from _twice_named(buses, seated, file)
    for one in seated:
        yield from _at_a_mux(one, file, names)
    for one, other in combinations(seated, 2):
        if one.address == other.address and one.number != other.number:
            yield from _through(one, other, file, names)
            yield from _swapped(one, other, buses, file, names)


def _twice_named(
    buses: Mapping[str, I2cSettings], seated: list[_Seated], file: str
) -> Iterator[Mistake]:
    """Yield two names of one bus; with the part that is reached by both, if any."""
    for (name, bus), (other, fellow) in combinations(buses.items(), 2):
        number = bus_number(bus.device)
        if number is None or number != bus_number(fellow.device):
            continue
        what = (
            f"is {one_line(fellow.device)}, another name of the bus that [i2c.{name}] "
            f"has: both lead to i2c-{number}"
        )
        twins = [
            f"{a.name} and {b.name}"
            for a, b in combinations(seated, 2)
            if a.address == b.address and {a.bus, b.bus} == {name, other}
        ]
        if twins:
            what += f", so {listed(twins)} would be one sensor, read twice"
        mend = f'keep one table, and write `bus = "{name}"` for its sensors'
        yield Mistake(file, f"i2c.{other}.device", what, mend)


def _at_a_mux(one: _Seated, file: str, names: I2cNames) -> Iterator[Mistake]:
    """Yield a part at the address of a multiplexer that hears it."""
    heard = {bus.number for bus in names.above(one.number)} | {one.number}
    for channel in names.all():
        if channel.parent in heard and channel.mux_address == one.address:
            what = (
                f"is 0x{one.address:02x} on bus {one.bus}, where the multiplexer of "
                f"{channel.device} has that address"
            )
            mend = (
                "set the multiplexer to another of 0x70 to 0x77 by its address pins, "
                "and its dtoverlay line by `addr=`, or give the sensor another address"
            )
            yield Mistake(file, f"part.{one.name}.address", what, mend)
            return


def _through(
    one: _Seated, other: _Seated, file: str, names: I2cNames
) -> Iterator[Mistake]:
    """Yield two parts of which the one's calls reach the other too."""
    for part, fellow in ((one, other), (other, one)):
        if any(bus.number == fellow.number for bus in names.above(part.number)):
            what = (
                f"is 0x{part.address:02x} on bus {part.bus}, behind a multiplexer, and "
                f"[part.{fellow.name}] on bus {fellow.bus} before it responds there too"
            )
            yield Mistake(file, f"part.{part.name}.address", what, ANOTHER_ADDRESS)
            return
    yield from _held_open(one, other, file, names)


def _held_open(
    one: _Seated, other: _Seated, file: str, names: I2cNames
) -> Iterator[Mistake]:
    """Yield two behind different multiplexers of one bus that stay connected."""
    first, second = names.adapter(one.number), names.adapter(other.number)
    if first is None or second is None or first.parent is None:
        return
    if first.parent != second.parent or first.mux_address == second.mux_address:
        return
    if first.lets_go and second.lets_go:
        return
    what = (
        f"is 0x{other.address:02x}, as [part.{one.name}] has behind another "
        "multiplexer, which leaves its last channel connected"
    )
    mend = "add `disconnect_on_idle` to the dtoverlay lines of both and restart"
    yield Mistake(file, f"part.{other.name}.address", what, mend)


def _swapped(
    one: _Seated,
    other: _Seated,
    buses: Mapping[str, I2cSettings],
    file: str,
    names: I2cNames,
) -> Iterator[Mistake]:
    """Yield two of one kind on numbers that move: a swap would show in nothing."""
    if one.kind != other.kind:
        return
    devices = [buses[part.bus].device for part in (one, other)]
    moving: list[Adapter | None] = [names.moves(device) for device in devices]
    if None in moving:
        return
    what = (
        f"is {one_line(devices[1])}, whose number may be that of {devices[0]} after a "
        f"restart: {other.name} and {one.name} could be swapped"
    )
    yield Mistake(file, f"i2c.{other.bus}.device", what, names.mend(devices[1]))
