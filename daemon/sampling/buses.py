"""The wires to the parts: I2C buses, serial ports, and files that the kernel serves.

The only file that imports smbus2 and pyserial.  It moves bytes, keeps order and
deadlines, and names what fails; retries and back-off are the sampler's.
"""

import asyncio
import os
import termios
from collections.abc import Callable
from functools import partial
from typing import Any, Protocol

import serial
from smbus2 import SMBus, i2c_msg

from cabinvigil.daemon.sampling.bus_errors import (
    BUS_LIKE,
    BlockedError,
    BusError,
    BusStuckError,
    DeviceMissingError,
    PortGoneError,
    i2c_open_error,
    i2c_transfer_error,
    serial_open_error,
    stuck_text,
)
from cabinvigil.daemon.sampling.worker import OverdueError, Worker
from cabinvigil.drivers.kit.steps import Transfer

DEADLINE_S = 1.0
"""For one call on I2C.  The kernel's own time-out of a transfer on the Pi is 1 s
(sensors.md, section 14); a part's longest answer, 60 bytes at 100 kHz, takes 6 ms."""
FILE_DEADLINE_S = 3.0
"""For reading a 1-wire file: a conversion takes up to 750 ms (DS18B20 data sheet,
sensors.md 9), several parts on one wire wait for each other."""
READ_BYTES = 4096
"""Taken from a serial port at once: four seconds of 9600 baud, so that one line that
never stops does not keep the loop from the others."""


class SMBusLike(Protocol):
    """What we use of `smbus2.SMBus`."""

    def i2c_rdwr(self, *i2c_msgs: Any) -> None:
        """Make one combined transfer; fill the read messages."""
        ...

    def close(self) -> None:
        """Close the device file."""
        ...


class I2cBus:
    """One I2C bus: one transfer at a time, each with a deadline, off the loop."""

    def __init__(
        self,
        name: str,
        device: str,
        *,
        open_smbus: Callable[[str], SMBusLike] = SMBus,
        deadline_s: float = DEADLINE_S,
        blocking: bool = True,
    ) -> None:
        """Describe the bus; it is opened with the first transfer.

        Args:
            name: the bus's name in the config.
            device: its device file, such as `/dev/i2c-1`.
            open_smbus: what opens it.
            deadline_s: for each call, in seconds.
            blocking: calls may block, so each runs on the bus's own thread; False
                for emulated buses in virtual time, which answer at once.
        """
        self.name = name
        self.device = device
        self.told: str | None = None
        """The kind of the bus's fault that the samplers have told of; None if well."""
        self._open_smbus = open_smbus
        self._deadline_s = deadline_s
        self._worker = Worker(f"bus-{name}") if blocking else None
        self._smbus: SMBusLike | None = None
        self._one_at_a_time = asyncio.Lock()
        self._by_address: dict[int, asyncio.Lock] = {}
        self._last_errno: dict[int, int] = {}

    def exclusive(self, address: int) -> asyncio.Lock:
        """Return the lock to hold for a whole poll of the part at this address."""
        return self._by_address.setdefault(address, asyncio.Lock())

    def forget(self, address: int) -> None:
        """Take note that nobody asks at this address any more."""
        self._last_errno.pop(address, None)

    @property
    def all_fail_alike(self) -> bool:
        """Whether every address in use, two or more, last failed as on a held line."""
        return len(self._last_errno) > 1 and all(
            number in BUS_LIKE for number in self._last_errno.values()
        )

    async def transfer(self, address: int, transfer: Transfer) -> bytes:
        """Make one transfer and return the bytes read.

        The bus is free for other addresses during the transfer's own delay.

        Raises:
            BusError: as named in `bus_errors`.
        """
        tx, rx_len = transfer.tx, transfer.rx_len
        if tx and rx_len and not transfer.delay_s:
            read = i2c_msg.read(address, rx_len)
            await self._send(address, i2c_msg.write(address, tx), read)
            return bytes(read)
        if tx:
            await self._send(address, i2c_msg.write(address, tx))
        if transfer.delay_s:
            await asyncio.sleep(transfer.delay_s)
        if not rx_len:
            return b""
        read = i2c_msg.read(address, rx_len)
        await self._send(address, read)
        return bytes(read)

    async def _send(self, address: int, *messages: i2c_msg) -> None:
        """Put messages on the wire, and remember how the address fared."""
        try:
            async with self._one_at_a_time:
                await self._call(address, *messages)
        except BusError as error:
            self._last_errno[address] = error.errno or 0
            raise
        self._last_errno[address] = 0

    async def _call(self, address: int, *messages: i2c_msg) -> None:
        work = partial(self._rdwr, address, *messages)
        if self._worker is None:
            work()
            return
        try:
            await self._worker.call(work, self._deadline_s)
        except OverdueError:
            raise BusStuckError(0, stuck_text(self.device)) from None

    def _rdwr(self, address: int, *messages: i2c_msg) -> None:
        """Open the bus where needed and make the call; runs on the bus's thread."""
        if self._smbus is None:
            try:
                self._smbus = self._open_smbus(self.device)
            except OSError as error:
                raise i2c_open_error(self.device, error) from error
        try:
            self._smbus.i2c_rdwr(*messages)
        except OSError as error:
            named = i2c_transfer_error(self.device, address, error)
            if named.whole_bus:
                self._drop()  # a fresh open lets the kernel find the adapter again
            raise named from error

    def _drop(self) -> None:
        if self._smbus is not None:
            smbus, self._smbus = self._smbus, None
            smbus.close()

    def close(self) -> None:
        """Close the device file and let the thread end."""
        if self._worker is not None:
            is_stuck = self._worker.is_stuck
            self._worker.close()
            if is_stuck:
                return  # the thread still holds the file; the process's end closes it
        self._drop()


class SerialPort:
    """One serial port, read whenever the loop sees bytes, written without waiting."""

    def __init__(
        self,
        path: str,
        baud: int,
        on_bytes: Callable[[bytes], None],
        on_gone: Callable[[BusError], None],
        *,
        after_write: Callable[[int], None] | None = None,
    ) -> None:
        """Describe the port; `open` opens it.

        Args:
            path: the device file, best a stable one under `/dev/serial/by-id`.
            baud: the part's speed; 8 data bits, no parity, 1 stop bit.
            on_bytes: called with whatever arrived.
            on_gone: called once when the open port fails; the port is closed then.
            after_write: called after each write with the number of bytes; an
                emulated part answers here.
        """
        self.path = path
        self.baud = baud
        self._on_bytes = on_bytes
        self._on_gone = on_gone
        self._after_write = after_write
        self._port: serial.Serial | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    @property
    def is_open(self) -> bool:
        """Whether the port is open."""
        return self._port is not None

    def open(self) -> None:
        """Open the port for us alone and watch it.

        Raises:
            BusError: as named in `bus_errors`.
        """
        try:
            port = serial.Serial(self.path, self.baud, timeout=0, exclusive=True)
        except (OSError, ValueError, termios.error) as error:
            raise serial_open_error(self.path, error) from error
        self._port = port
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(port.fileno(), self._readable)

    def _readable(self) -> None:
        if self._port is None:
            return
        try:
            data = self._port.read(READ_BYTES)
        except (OSError, termios.error) as error:
            self._gone(error)
            return
        if data:
            self._on_bytes(data)

    def write(self, data: bytes) -> None:
        """Send bytes at once; a port that cannot take them is treated as gone."""
        if self._port is None or not data:
            return
        try:
            # Not Serial.write: on a full buffer it spins for ever with a zero
            # time-out (pyserial 3.5), and the loop with it.
            sent = os.write(self._port.fileno(), data)
        except (OSError, termios.error) as error:
            self._gone(error)
            return
        if sent < len(data):
            self._gone(OSError(0, "it takes no more bytes"))
        elif self._after_write is not None:
            self._after_write(sent)

    def _gone(self, error: Exception) -> None:
        self.close()
        number = getattr(error, "errno", None) or 0
        text = f"the serial port {self.path} has vanished: plug it in again"
        self._on_gone(PortGoneError(number, text))

    def close(self) -> None:
        """Stop watching and close."""
        if self._port is None or self._loop is None:
            return
        port, self._port = self._port, None
        self._loop.remove_reader(port.fileno())
        try:
            # Bytes still to be sent would make close() wait for them.
            port.reset_output_buffer()
        except (OSError, termios.error):
            pass  # the device is gone, and so are its bytes
        finally:
            port.close()


class KernelFile:
    """A file in which the kernel serves a part's answer as text (1-wire)."""

    def __init__(
        self, path: str, *, deadline_s: float = FILE_DEADLINE_S, blocking: bool = True
    ) -> None:
        """Describe the file; each read opens it anew.

        Args:
            path: where the kernel serves it.
            deadline_s: for one read, in seconds.
            blocking: as for `I2cBus`.
        """
        self.path = path
        self._deadline_s = deadline_s
        self._worker = Worker(f"file-{path}") if blocking else None

    async def read(self) -> bytes:
        """Return the file's bytes, at most `READ_BYTES`.

        Raises:
            BusError: as named in `bus_errors`.
        """
        if self._worker is None:
            return self._take()
        try:
            return await self._worker.call(self._take, self._deadline_s)
        except OverdueError:
            text = f"reading {self.path} does not come back"
            raise BlockedError(0, text) from None

    def _take(self) -> bytes:
        try:
            with open(self.path, "rb") as file:
                return file.read(READ_BYTES)
        except FileNotFoundError as error:
            text = f"there is no {self.path}: the part has left the wire"
            raise DeviceMissingError(error.errno or 0, text) from error
        except OSError as error:
            text = f"{self.path} cannot be read ({error.strerror or error})"
            raise BusError(error.errno or 0, text) from error

    def close(self) -> None:
        """Let the thread end."""
        if self._worker is not None:
            self._worker.close()
