"""I2C buses as the kernel numbers them: behind which multiplexer, and whether it stays.

The kernel gives each channel of a multiplexer a bus of its own (docs.kernel.org,
i2c-sysfs; `i2c_mux_add_adapter` of Linux, which makes the links that are read here).
"""

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_BUS = re.compile(r"i2c-([0-9]+)")
_MUX = re.compile(r"([0-9]+)-([0-9a-f]{4})")
"""A device in sysfs: its bus's number and its address."""
_CHANNEL = re.compile(r"\(chan_id ([0-9]+)\)")
_DISCONNECT = "-2"
"""What a multiplexer's `idle_state` is when nothing stays connected (the kernel's
ABI/testing/sysfs-bus-i2c-devices-pca954x)."""
HEADER = 1
"""The number of the bus on a Pi's header, by its device tree's alias."""
PI4 = range(3, 7)
PI5 = range(2, 4)
"""Further controllers of a Pi 4 and a Pi 5, each with an overlay (overlays/README)."""
SWITCH_ON = (
    "switch I2C on (`sudo raspi-config`, Interface Options, I2C) and restart, "
    "or load the kernel module i2c-dev"
)


@dataclass(frozen=True, slots=True)
class Adapter:
    """One I2C bus of this machine."""

    number: int
    name: str
    """As the kernel calls it."""
    parent: int | None
    """The bus whose multiplexer leads to it; None: it is no channel of one."""
    mux_address: int | None
    """That multiplexer's own; None too where it is switched by pins, not on I2C."""
    channel: int | None
    stays: bool
    """It has the same number after each start."""
    lets_go: bool
    """Its multiplexer leaves no channel connected after a transfer."""

    @property
    def device(self) -> str:
        """Its usual device file."""
        return f"/dev/i2c-{self.number}"

    @property
    def place(self) -> str:
        """Where it is, as a person may look for it."""
        if self.parent is None:
            return self.name
        at = "" if self.mux_address is None else f" at 0x{self.mux_address:02x}"
        channel = "a channel" if self.channel is None else f"channel {self.channel}"
        return f"{channel} of the multiplexer{at} on /dev/i2c-{self.parent}"


def bus_number(device: str) -> int | None:
    """Return the number of the bus that a device file or link leads to."""
    found = _BUS.fullmatch(os.path.basename(os.path.realpath(device)))
    return None if found is None else int(found[1])


def is_bare(device: str) -> bool:
    """Return whether this names a bus by its number, and is no link of one's own."""
    return re.fullmatch(r"/+dev/+i2c-[0-9]+", device) is not None


def how_to_get(device: str) -> str:
    """Return how a bus that is not there comes to be."""
    found = _BUS.fullmatch(os.path.basename(device))
    if found is None:
        return (
            "name the bus itself, or make this link by a udev rule "
            '(hardware.md, "More than one bus")'
        )
    number = int(found[1])
    if number == HEADER:
        return SWITCH_ON
    own = f"`dtoverlay=i2c{number}` on a Pi 4, " if number in PI4 else ""
    own += f"`dtoverlay=i2c{number}-pi5` on a Pi 5, " if number in PI5 else ""
    return (
        f"add its line to the boot firmware's config.txt and restart: {own}"
        f"`dtoverlay=i2c-gpio,bus={number},i2c_gpio_sda=5,i2c_gpio_scl=6` for two free "
        f"pins, `dtoverlay=i2c-mux,pca9548,base={number},disconnect_on_idle` for a "
        "multiplexer; `cabinvigil parts --scan` lists the buses that there are"
    )


@dataclass(frozen=True)
class I2cNames:
    """The buses of this machine; tests bring a folder of their own."""

    root: Path = Path("/")

    def adapter(self, number: int) -> Adapter | None:
        """Return what the kernel says of a bus; None: there is none, or no sysfs."""
        folder = self.root / "sys/bus/i2c/devices" / f"i2c-{number}"
        try:
            name = (folder / "name").read_text(errors="replace").strip()
        except OSError:
            return None
        real = Path(os.path.realpath(folder))
        above = _BUS.fullmatch(real.parent.name)
        mux = _MUX.fullmatch(os.path.basename(os.path.realpath(folder / "mux_device")))
        channel = _CHANNEL.search(name)
        return Adapter(
            number,
            name,
            None if above is None else int(above[1]),
            None if mux is None else int(mux[2], 16),
            None if channel is None else int(channel[1]),
            self._stays(number, folder, is_channel=above is not None),
            _text(folder / "mux_device/idle_state") == _DISCONNECT,
        )

    def _stays(self, number: int, folder: Path, *, is_channel: bool) -> bool:
        """Return whether the device tree holds the number.

        By an alias (`of_alias_get_id`), by a multiplexer's `base-nr`, or, as the Pi's
        kernel has it, by the `reg` of a bus on two pins (its i2c-gpio.c).
        """
        tree = self.root / "sys/firmware/devicetree/base/aliases"
        if (tree / f"i2c{number}").is_file():
            return True
        if is_channel:
            return any(_bytes(folder / "mux_device/of_node/base-nr"))
        return number > 0 and _bytes(folder / "of_node/reg") == number.to_bytes(4)

    def all(self) -> Iterator[Adapter]:
        """Yield every bus of this machine, by number."""
        paths = (self.root / "sys/bus/i2c/devices").glob("i2c-*")
        numbers = (_BUS.fullmatch(path.name) for path in paths)
        for number in sorted(int(found[1]) for found in numbers if found is not None):
            one = self.adapter(number)
            if one is not None:
                yield one

    def above(self, number: int) -> list[Adapter]:
        """Return a channel, then the bus that it depends on, and so on to the wire."""
        chain: list[Adapter] = []
        at: int | None = number
        while at is not None and all(one.number != at for one in chain):
            one = self.adapter(at)
            if one is None:
                break
            chain.append(one)
            at = one.parent
        return chain

    def wire(self, device: str) -> int | str:
        """Return what all buses share that wait for each other: their lowest bus."""
        number = bus_number(device)
        if number is None:
            return os.path.realpath(device)
        chain = self.above(number)
        return chain[-1].number if chain else number

    def moves(self, device: str) -> Adapter | None:
        """Return the bus where another may have this name after a restart."""
        number = bus_number(device) if is_bare(device) else None
        one = None if number is None else self.adapter(number)
        return None if one is None or one.stays else one

    def staying(self, device: str) -> str:
        """Return a link in /dev that leads to this bus now; '' where none does."""
        number = bus_number(device)
        for link in sorted((self.root / "dev").glob("i2c*")):
            if link.is_symlink() and bus_number(str(link)) == number:
                return str(link)
        return ""

    def mend(self, device: str) -> str:
        """Say how to name a bus whose number may move, as the remedy of a mistake."""
        link = self.staying(device)
        if link:
            return f'write `device = "{link}"`, which is its name now'
        one = self.moves(device)
        if one is not None and one.parent is not None:
            return (
                "add `base=30` to the multiplexer's dtoverlay line and name "
                f"/dev/i2c-{30 + (one.channel or 0)}, or link it by a udev rule "
                '(hardware.md, "More than one bus")'
            )
        return (
            "add `bus=8` to its dtoverlay=i2c-gpio line and name /dev/i2c-8, or link "
            'it by a udev rule (hardware.md, "More than one bus")'
        )


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""


def _text(path: Path) -> str:
    return _bytes(path).decode(errors="replace").strip()
