"""Names of serial ports: which may pass to another adapter, and which stay."""

import os
import re
from dataclasses import dataclass
from pathlib import Path

_MOVING = re.compile(r"/+dev/+tty(USB|ACM)[0-9]+")
"""Numbered as the kernel finds the adapters: two may change places at a restart, or
after a hub has lost its power (the kernel's usb-serial documentation, unverified)."""
LOOK = "`ls -l /dev/serial/by-path` shows it"


def may_move(port: str) -> bool:
    """Return whether this name may pass to another adapter."""
    return _MOVING.fullmatch(port) is not None


@dataclass(frozen=True)
class SerialNames:
    """The names that udev gives to serial ports; tests bring a folder of their own."""

    root: Path = Path("/")

    def has_own_number(self, port: str) -> bool:
        """Return whether a port's USB adapter tells a serial number.

        Without one, all adapters of its make have the same name under by-id.
        """
        tty = Path(os.path.realpath(port)).name
        device = Path(os.path.realpath(self.root / "sys/class/tty" / tty / "device"))
        for folder in (device, *device.parents):
            if (folder / "idVendor").is_file():
                try:
                    return bool((folder / "serial").read_text(errors="replace").strip())
                except OSError:
                    return False
        return False

    def is_shared(self, port: str) -> bool:
        """Return whether this is a name under by-id that any adapter like it gets."""
        is_there = "/by-id/" in port and os.path.exists(port)
        return is_there and not self.has_own_number(port)

    def links(self) -> list[str]:
        """Return the names that stay: one adapter's own by-id, then by-path."""
        by_id, by_path = (
            sorted(str(path) for path in self.root.glob(f"dev/serial/{folder}/*"))
            for folder in ("by-id", "by-path")
        )
        return [*(path for path in by_id if self.has_own_number(path)), *by_path]

    def staying(self, port: str) -> str:
        """Return the name that stays and leads to this port now; '' where none does."""
        there = os.path.realpath(port)
        return next((one for one in self.links() if os.path.realpath(one) == there), "")

    def mend(self, port: str) -> str:
        """Return how to name the port instead, as the remedy of a mistake."""
        link = self.staying(port)
        if link:
            return f'write `port = "{link}"`, which is its name now'
        return f"name it by its link under /dev/serial/by-path ({LOOK})"
