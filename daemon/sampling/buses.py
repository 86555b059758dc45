"""The wires to the parts: I2C buses, and files that the kernel serves.

The only file that imports smbus2; `serial_port` has the third wire.  It moves bytes,
keeps order and deadlines, and names what fails; retries and back-off are the sampler's.
"""

import asyncio
from collections.abc import Callable
from functools import partial
from typing import Any, Protocol

from smbus2 import SMBus, i2c_msg

from cabinvigil.daemon.sampling.bus_errors import (
    BUS_LIKE,
    BlockedError,
    BusError,
    BusStuckError,
    DeviceMissingError,
    i2c_open_error,
    i2c_transfer_error,
    no_thread_error,
    stuck_text,
)
from cabinvigil.daemon.threads.worker import NoThreadError, OverdueError, Worker
from cabinvigil.drivers.kit.steps import Transfer

DEADLINE_S = 1.0
"""For one call on I2C.  The kernel's own time-out of a transfer on the Pi is 1 s
(sensors.md, section 14); a part's longest answer, 60 bytes at 100 kHz, takes 6 ms."""
FILE_DEADLINE_S = 3.0
"""For reading a 1-wire file: a conversion takes up to 750 ms (DS18B20 data sheet,
sensors.md 9), several parts on one wire wait for each other."""
READ_BYTES = 4096
"""The kernel's text of a 1-wire part has some eighty."""


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
        self._worker = Worker(f"bus-{device}") if blocking else None
        self._smbus: SMBusLike | None = None
        self._turn = 0
        """Counted on where a call has not returned: the file is that call's then."""
        self.one_at_a_time = asyncio.Lock()
        self._by_address: dict[int, asyncio.Lock] = {}
        self._last_errno: dict[int, int] = {}

    def exclusive(self, address: int) -> asyncio.Lock:
        """Return the lock to hold for a whole poll of the part at this address."""
        return self._by_address.setdefault(address, asyncio.Lock())

    def share_turns(self, other: "I2cBus") -> None:
        """Take turns with a bus that the kernel lets through to the same wire.

        Its calls wait for each other there anyhow; waited for here, the time that a
        stalled neighbour takes is no part of this bus's own deadline.
        """
        self.one_at_a_time = other.one_at_a_time

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
            async with self.one_at_a_time:
                await self._call(address, *messages)
        except BusError as error:
            self._last_errno[address] = error.errno or 0
            raise
        self._last_errno[address] = 0

    async def _call(self, address: int, *messages: i2c_msg) -> None:
        work = partial(self._rdwr, self._turn, address, *messages)
        if self._worker is None:
            work()
            return
        try:
            await self._worker.call(work, self._deadline_s)
        except NoThreadError as error:
            raise no_thread_error(self.device, error) from None
        except OverdueError:
            self._turn += 1
            self._smbus = None
            raise BusStuckError(0, stuck_text(self.device)) from None

    def _rdwr(self, turn: int, address: int, *messages: i2c_msg) -> None:
        """Open the bus where needed and make the call; runs on the bus's thread."""
        smbus = self._smbus
        if smbus is None:
            try:
                smbus = self._open_smbus(self.device)
            except OSError as error:
                raise i2c_open_error(self.device, error) from error
            if turn == self._turn:
                self._smbus = smbus
        try:
            smbus.i2c_rdwr(*messages)
        except OSError as error:
            named = i2c_transfer_error(self.device, address, error)
            if named.whole_bus and turn == self._turn:
                self._drop()  # a fresh open lets the kernel find the adapter again
            raise named from error
        finally:
            if turn != self._turn:  # it hung: nobody else has this file any more
                smbus.close()

    def _drop(self) -> None:
        if self._smbus is not None:
            smbus, self._smbus = self._smbus, None
            smbus.close()

    def close(self) -> None:
        """Close the device file, off the loop, and let the thread end."""
        if self._worker is None:
            self._drop()
        else:
            self._worker.close(self._drop)

    async def closed(self, deadline_s: float) -> bool:
        """Wait until that is done, at most so long; return whether it is."""
        return self._worker is None or await self._worker.ended(deadline_s)


class KernelFile:
    """A file in which the kernel serves a part's answer as text (1-wire)."""

    def __init__(
        self, path: str, *, deadline_s: float = FILE_DEADLINE_S, blocking: bool = True
    ) -> None:
        """Describe the file; each read opens it again.

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
        except NoThreadError as error:
            raise no_thread_error(self.path, error) from None
        except OverdueError:
            text = f"reading {self.path} does not come back"
            raise BlockedError(0, text) from None

    def _take(self) -> bytes:
        try:
            with open(self.path, "rb") as file:
                return file.read(READ_BYTES)
        except FileNotFoundError as error:
            text = f"there is no {self.path}: the sensor has left the wire"
            raise DeviceMissingError(error.errno or 0, text) from error
        except OSError as error:
            text = f"{self.path} cannot be read ({error.strerror or error})"
            raise BusError(error.errno or 0, text) from error

    def close(self) -> None:
        """Let the thread end."""
        if self._worker is not None:
            self._worker.close()
