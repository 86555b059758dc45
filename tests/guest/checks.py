"""The checks in the guest, in this order: putting_in, sounding, enduring.

Runs as root in the guest with Debian's own Python; nothing of the watch is imported.
"""

import os
import sys
from pathlib import Path

from checking import CHECKS, judge, say
from machine import CARD, Pins, air, run

# isort: split
# Each brings its checks into the list, so their order matters.
from putting_in import python_of_it

# isort: split
import sounding  # noqa: F401

# isort: split
import enduring  # noqa: F401

MODULES = "i2c-dev i2c_wire gpio-sim virtio_console xhci_pci loop ext4"
"""Not usbserial: a machine that has never seen an adapter has not loaded it."""


def ground() -> Pins:
    """Bring up what a Pi has: bus, pins, ports, a card."""
    for module in MODULES.split():
        run(f"modprobe {module}")
    pins = Pins()
    run("udevadm settle")
    Path("/dev/serial0").symlink_to("ttyS1")
    CARD.mkdir()
    run(
        f"truncate -s 8M /card.img; mkfs.ext4 -q -m 0 /card.img; mount /card.img {CARD}"
    )
    for name in ("log", "lib"):
        run(f"mkdir -p {CARD}/{name} /var/{name}/cabinvigil")
        run(f"mount --bind {CARD}/{name} /var/{name}/cabinvigil")
    air()
    return pins


def main() -> int:
    """Run them all; a failure does not end the rest."""
    uptime_s = float(Path("/proc/uptime").read_text().split()[0])
    version = run("systemctl --version").split()[1]
    python = sys.version.split()[0]
    say(
        f"guest up: kernel {os.uname().release}, systemd {version}, Python {python}, "
        f"{uptime_s:.0f} s"
    )
    pins = ground()
    good = [judge(0, pins)]
    # The parts are played by the Python that the first check installed it for.
    run(f"systemd-run --unit=parts {python_of_it()} /opt/guest/parts.py")
    good += [judge(number, pins) for number in range(1, len(CHECKS))]
    say(f"guest end: {sum(good)} of {len(good)} checks are well")
    return 0


if __name__ == "__main__":
    sys.exit(main())
