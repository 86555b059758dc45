"""A machine with I2C buses and multiplexers, as the kernel shows them in sysfs.

Names and links are those that `i2c_mux_add_adapter` makes (drivers/i2c/i2c-mux.c of
Linux), and of docs.kernel.org's page "Linux I2C Sysfs"; the `base-nr` and the `reg` of
an i2c-gpio bus are the Raspberry Pi kernel's own (i2c-mux.c, i2c-gpio.c there).
"""

from pathlib import Path


class BusMachine:
    """Sysfs, device tree and links in /dev, beneath a folder."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._devices = root / "sys/bus/i2c/devices"
        self._aliases = root / "sys/firmware/devicetree/base/aliases"
        for folder in (self._devices, self._aliases, root / "dev"):
            folder.mkdir(parents=True)

    def bus(
        self, number: int, name: str = "bcm2835 (i2c@7e804000)", *, alias: bool = True
    ) -> None:
        """A controller of its own; with an alias its number stays."""
        self._adapter(number, self.root / "sys/devices" / f"{number:08x}.i2c", name)
        if alias:
            (self._aliases / f"i2c{number}").write_bytes(b"/soc/i2c@7e804000\0")

    def on_pins(self, number: int, reg: int) -> None:
        """A bus on two pins; `reg` is what its overlay's `bus=` says."""
        self.bus(number, "i2c_gpio@0", alias=False)
        node = self._folder(number) / "of_node"
        node.mkdir()
        (node / "reg").write_bytes(reg.to_bytes(4, "big"))

    def mux(
        self,
        parent: int,
        address: int,
        numbers: range,
        *,
        base: int = 0,
        idle: str = "-2",
    ) -> None:
        """A multiplexer and the buses of its channels.

        Args:
            parent: the bus that it is on.
            address: its own.
            numbers: of the channels' buses, from channel 0 on.
            base: what the overlay's `base=` says; 0: not given.
            idle: its `idle_state`; -2 leaves nothing connected, -1 the last channel.
        """
        device = self._folder(parent) / f"{parent}-{address:04x}"
        (device / "of_node").mkdir(parents=True)
        (device / "idle_state").write_text(f"{idle}\n")
        if base:
            (device / "of_node/base-nr").write_bytes(base.to_bytes(4, "big"))
        for channel, number in enumerate(numbers):
            name = f"i2c-{parent}-mux (chan_id {channel})"
            self._adapter(number, self._folder(parent), name)
            self._folder(number).joinpath("mux_device").symlink_to(device)

    def link(self, name: str, number: int) -> str:
        """A udev rule's link; returns its path."""
        path = self.root / "dev" / name
        path.symlink_to(f"i2c-{number}")
        return str(path)

    def _folder(self, number: int) -> Path:
        return (self._devices / f"i2c-{number}").resolve()

    def _adapter(self, number: int, under: Path, name: str) -> None:
        folder = under / f"i2c-{number}"
        folder.mkdir(parents=True)
        (folder / "name").write_text(f"{name}\n")
        (self._devices / f"i2c-{number}").symlink_to(folder)
        (self.root / "dev" / f"i2c-{number}").touch()
