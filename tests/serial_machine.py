"""A machine with USB serial adapters, as udev and sysfs show them."""

from pathlib import Path


class SerialMachine:
    """Device names and links under a folder, in the places that they have on Linux."""

    def __init__(self, root: Path) -> None:
        self.root = root
        for folder in ("dev/serial/by-id", "dev/serial/by-path", "sys/class/tty"):
            (root / folder).mkdir(parents=True)

    def adapter(self, tty: str, by_id: str, by_path: str, number: str = "") -> None:
        """Plug one in; its serial number is '' where it tells none."""
        usb = self.root / "sys/devices/usb1" / tty
        interface = usb / "1:1.0" / tty
        interface.mkdir(parents=True)
        (usb / "idVendor").write_text("1a86\n")
        if number:
            (usb / "serial").write_text(f"{number}\n")
        (self.root / "sys/class/tty" / tty).mkdir()
        (self.root / "sys/class/tty" / tty / "device").symlink_to(interface)
        (self.root / "dev" / tty).touch()
        for folder, name in (("by-id", by_id), ("by-path", by_path)):
            if name:
                link = self.root / "dev/serial" / folder / name
                link.unlink(missing_ok=True)  # the last one plugged in gets the name
                link.symlink_to(self.root / "dev" / tty)
