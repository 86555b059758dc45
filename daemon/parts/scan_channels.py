"""Buses behind multiplexers, as a scan takes them: what answers belongs to which.

A channel shows what is on the bus before it too, and some multiplexers leave their last
channel connected, which then shows on the bus before.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from cabinvigil.daemon.settings.bus_names import Adapter, I2cNames, bus_number


@dataclass(frozen=True)
class Channels:
    """How the buses that are looked at hang together, all by their names."""

    before: Mapping[str, str] = field(default_factory=dict)
    """Of a channel's bus: the bus that its multiplexer is on."""
    muxes: Mapping[str, Mapping[int, str]] = field(default_factory=dict)
    """Of a bus: what to say of each multiplexer on it, by address."""
    unasked: frozenset[str] = frozenset()
    """Looked at only because the bus before is: told where something is there."""
    moving: Mapping[str, str] = field(default_factory=dict)
    """Buses whose number may be another's after a restart, with the remedy."""
    others: Sequence[str] = ()
    """Buses that nobody looks at."""

    def heard_at(self, bus: str) -> frozenset[int]:
        """Return the addresses at which a multiplexer hears what is sent on a bus.

        Who writes there to learn which part it is would switch its channels.
        """
        heard: set[int] = set()
        at: str | None = bus
        while at is not None:
            heard |= set(self.muxes.get(at, {}))
            at = self.before.get(at)
        return frozenset(heard)


def with_channels(
    buses: Mapping[str, str], known: Mapping[str, str], names: I2cNames
) -> tuple[dict[str, str], Channels]:
    """Add the channels behind buses that are looked at.

    Args:
        buses: name by device, each bus once.
        known: the config's names by device.
        names: the machine's buses.

    Returns:
        The buses, by device, and how they hang together.
    """
    there = list(names.all())
    looked = {bus_number(device): device for device in buses}
    found, unasked = dict(buses), set()
    own = {bus_number(device): (device, name) for device, name in known.items()}
    by_number = {one.number: one for one in there}
    grows = True
    while grows:  # a multiplexer may hang behind another
        grows = False
        for one in there:
            if one.number in looked or one.parent not in looked:
                continue
            device, name = own.get(
                one.number, (names.staying(one.device) or one.device, _name(one))
            )
            while name in found.values():
                name += "x"
            found[device] = name
            looked[one.number] = device
            unasked.add(name)
            grows = True
    by_bus = {number: found[device] for number, device in looked.items()}
    channels = [by_number[n] for n in looked if n is not None and n in by_number]
    before = {
        by_bus[one.number]: by_bus[one.parent]
        for one in channels
        if one.parent in by_bus
    }
    moving = {
        name: names.mend(device)
        for device, name in found.items()
        if names.moves(device) is not None
    }
    left = [one for one in there if one.number not in looked]
    return found, Channels(
        before,
        _muxes(there, by_bus),
        frozenset(unasked),
        moving,
        [f"{one.device} ({one.place})" for one in left],
    )


def _name(one: Adapter) -> str:
    """Make a bus's name for a config, of what stays the same."""
    if one.mux_address is None or one.channel is None:
        return f"i2c-{one.number}"
    return f"mux-{one.mux_address:x}-{one.channel}"


def _muxes(
    there: Iterable[Adapter], by_bus: Mapping[int | None, str]
) -> dict[str, dict[int, str]]:
    behind: dict[tuple[str, int], list[Adapter]] = {}
    for one in there:
        bus = by_bus.get(one.parent)
        if bus is not None and one.mux_address is not None:
            behind.setdefault((bus, one.mux_address), []).append(one)
    muxes: dict[str, dict[int, str]] = {}
    for (bus, address), channels in behind.items():
        first, last = channels[0], channels[-1]
        text = f"the multiplexer of {first.device}"
        if last is not first:
            text += f" to {last.device}"
        muxes.setdefault(bus, {})[address] = text
    return muxes


def shared_out(
    seen: Mapping[str, frozenset[str]], before: Mapping[str, str]
) -> dict[str, frozenset[str]]:
    """Return which of the answers on each bus are its own.

    What every channel shows is on the bus before them; what only some show is theirs,
    and was left connected where the bus before shows it too.

    Args:
        seen: addresses that answered, by bus; without those that failed.
        before: as of `Channels`.
    """
    own = dict(seen)
    for bus in sorted(seen, key=lambda name: -_depth(name, before)):
        channels = [name for name in own if before.get(name) == bus]
        for address in own[bus]:
            showing = [name for name in channels if address in own[name]]
            if len(showing) == len(channels):
                for name in showing:
                    own[name] -= {address}
            elif showing:
                own[bus] -= {address}
    return own


def _depth(bus: str, before: Mapping[str, str]) -> int:
    depth = 0
    while bus in before:
        bus, depth = before[bus], depth + 1
    return depth
