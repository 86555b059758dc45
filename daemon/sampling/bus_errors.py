"""How a bus or port fails: named errors, each with its remedy in its sentence.

The numbers are Linux's; which one a part that does not respond gives depends on the
adapter (sensors.md, section 14, from the drivers' sources): 121 on the Pi's own
controllers, 6 on a bit-banged bus.
"""

import errno
from typing import ClassVar

from cabinvigil.daemon.settings.bus_names import HEADER, bus_number
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode

BUS_LIKE = frozenset({errno.EIO, errno.EAGAIN, errno.ETIMEDOUT})
"""What a line held low gives, by adapter (table 14, row 4): when every part of a bus
fails so, it is the bus."""


class BusError(CabinvigilError, OSError):
    """A bus or port, or a part on it, did not do what was asked."""

    exit_code = ExitCode.MACHINE_FAILED
    kind: ClassVar[str] = "absent"
    """The fault's kind, as in `core.model.SourceFault`."""
    whole_bus: ClassVar[bool] = False
    """The failure is the bus's own, so every part on it is lost."""

    def __init__(self, number: int, text: str) -> None:
        """Keep the errno and the sentence.

        Args:
            number: the errno, 0 where there was none.
            text: what happened, where, and how to mend it.
        """
        super().__init__(number, text)
        self.text = text

    def __str__(self) -> str:
        return self.text


class DeviceMissingError(BusError):
    """The device file is not there."""

    kind = "port-missing"
    whole_bus = True


class NoPermissionError(BusError):
    """The device file may not be opened."""

    kind = "no-permission"
    whole_bus = True


class PortBusyError(BusError):
    """Another program has the port."""

    kind = "port-busy"
    whole_bus = True


class BusStuckError(BusError):
    """A line is held low, or the kernel's call does not return."""

    kind = "bus-stuck"
    whole_bus = True


class BlockedError(BusError):
    """A call has not come back within its deadline."""

    kind = "blocked"


class NoAnswerError(BusError):
    """Nobody acknowledges the address."""


class TransferError(BusError):
    """A transfer broke off."""


class PortGoneError(BusError):
    """A port that was open has vanished."""

    kind = "port-missing"


_I2C_OPEN: dict[int, tuple[type[BusError], str]] = {
    errno.ENOENT: (
        DeviceMissingError,
        (
            "there is no {device}: `cabinvigil parts --scan` lists the buses that "
            "there are, and hardware.md how to get another"
        ),
    ),
    errno.ENODEV: (
        DeviceMissingError,
        "{device} has no adapter behind it: plug the adapter in again",
    ),
    errno.EACCES: (
        NoPermissionError,
        "{device} may not be opened: add the user to the group i2c",
    ),
    errno.EPERM: (
        NoPermissionError,
        "{device} is closed to this service: allow char-i2c in the unit's DeviceAllow",
    ),
}


def i2c_open_error(device: str, error: OSError) -> BusError:
    """Name what kept an I2C device file from opening."""
    number = error.errno or 0
    if number == errno.ENOENT and bus_number(device) == HEADER:
        text = f"there is no {device}: switch I2C on with raspi-config, and restart"
        return DeviceMissingError(number, text)
    if number in _I2C_OPEN:
        kind, text = _I2C_OPEN[number]
        return kind(number, text.format(device=device))
    return DeviceMissingError(
        number, f"{device} does not open as an I2C bus ({error.strerror or error})"
    )


def i2c_transfer_error(device: str, address: int, error: OSError) -> BusError:
    """Name what a transfer on I2C failed by."""
    number = error.errno or 0
    at = f"0x{address:02x} on {device}"
    if number in (errno.EREMOTEIO, errno.ENXIO):
        return NoAnswerError(number, f"no reply at {at}")
    if number == errno.ETIMEDOUT:
        return BusStuckError(number, stuck_text(device))
    if number == errno.EAGAIN:
        return TransferError(number, f"the bus was taken from under {at}")
    if number == errno.EIO:
        return TransferError(number, f"the transfer with {at} broke off")
    if number in (errno.ENODEV, errno.EBADF):
        return DeviceMissingError(
            number, f"{device} has vanished: plug the adapter in again"
        )
    why = error.strerror or error
    return TransferError(number, f"the transfer with {at} failed ({why})")


def stuck_text(device: str) -> str:
    """Say that a bus is stuck, and how to mend it."""
    return (
        f"the I2C bus {device} is stuck, so none of its sensors can be read: switch "
        "the sensors' power off and on, and look for water or a loose wire"
    )


_SERIAL_OPEN: dict[int, tuple[type[BusError], str]] = {
    errno.ENOENT: (
        DeviceMissingError,
        (
            "there is no serial port {path}: plug it in, and name it in the config "
            "by its path under /dev/serial/by-path"
        ),
    ),
    errno.EACCES: (
        NoPermissionError,
        "the serial port {path} may not be opened: add the user to the group dialout",
    ),
    errno.EPERM: (
        NoPermissionError,
        (
            "the serial port {path} is closed to this service: allow it in the unit's "
            "DeviceAllow"
        ),
    ),
    errno.EAGAIN: (
        PortBusyError,
        (
            "another program has the serial port {path}: stop it, and switch the login "
            "console off with raspi-config"
        ),
    ),
}
_SERIAL_OPEN[errno.EBUSY] = _SERIAL_OPEN[errno.EAGAIN]
_SERIAL_OPEN[errno.ENXIO] = _SERIAL_OPEN[errno.ENODEV] = _SERIAL_OPEN[errno.ENOENT]


def serial_open_error(path: str, error: Exception) -> BusError:
    """Name what kept a serial port from opening."""
    number = getattr(error, "errno", None) or 0
    if number in _SERIAL_OPEN:
        kind, text = _SERIAL_OPEN[number]
        return kind(number, text.format(path=path))
    return DeviceMissingError(
        number, f"the serial port {path} does not open ({error}): check the wiring"
    )


def no_thread_error(device: str, error: Exception) -> BusError:
    """Name a call that could not be made, for want of a thread."""
    text = f"no thread can be had for {device} ({error}): free memory, or restart"
    return BlockedError(0, text)
