"""Emulated wires: an I2C bus with the calls of smbus2, and a serial line on a real pty.

The daemon's own bus code runs on both, byte for byte as on hardware.
"""

import asyncio
import ctypes
import errno
import fcntl
import os
import select
import struct
import termios
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from cabinvigil.daemon.rehearsal.emulated.ways import I2cPart, Nack, SerialPart
from cabinvigil.daemon.sampling.buses import KernelFile

I2C_READ = 0x0001
"""The flag of a read message (linux/i2c.h: I2C_M_RD)."""
_LOOKS = 2_000
"""Looks at a pty in a row.  Its bytes pass through a kernel worker thread, in 25 to
60 us as measured; on a busy machine that thread waits for its turn, and whoever only
looks keeps it waiting ..."""
_REST_S, _RESTS = 0.001, 10_000
"""... so after that the processor is given up between looks, for 10 s at least: given
up too soon, the part fell silent for the rest of the night."""
_UNREAD_BYTES = 2048
"""A port that nobody reads loses bytes, as a UART does; a pty would block at 4095."""


class EmulatedSMBus:
    """An I2C bus with emulated parts; offers what `buses.SMBusLike` asks for."""

    def __init__(self) -> None:
        """Make an empty bus."""
        self._parts: dict[int, I2cPart] = {}

    def attach(self, address: int, part: I2cPart) -> None:
        """Put a part at an address; it takes the place of another one there."""
        self._parts[address] = part

    def detach(self, address: int) -> None:
        """Take the part at an address away."""
        self._parts.pop(address, None)

    def swap(self, address: int, part: I2cPart) -> I2cPart:
        """Put another part at an address; return the one that was there."""
        before, self._parts[address] = self._parts[address], part
        return before

    def power_up(self, address: int) -> None:
        """Cut the power of the part at an address, and give it back."""
        self._parts[address].power_up()

    def i2c_rdwr(self, *i2c_msgs: Any) -> None:
        """Carry out `smbus2.i2c_msg` messages in one go, as the Pi's driver does.

        Raises:
            OSError: 121 nobody acknowledges; 95 a read that is not the last message
                (the Pi's driver refuses it: sensors.md 0, item 6).
        """
        if any(message.flags & I2C_READ for message in i2c_msgs[:-1]):
            raise OSError(errno.EOPNOTSUPP, os.strerror(errno.EOPNOTSUPP))
        for message in i2c_msgs:
            self._carry(message)

    def _carry(self, message: Any) -> None:
        part = self._parts.get(message.addr)
        try:
            if part is None:
                raise Nack
            if message.flags & I2C_READ:
                fill(message, part.read(message.len))
            else:
                part.write(bytes(message))
        except Nack:
            raise OSError(errno.EREMOTEIO, os.strerror(errno.EREMOTEIO)) from None

    def close(self) -> None:
        """Do nothing: the parts stay on the bus whether it is open or not."""


def fill(message: Any, data: bytes) -> None:
    """Put the bytes into a read message's buffer; what is missing stays zero."""
    ctypes.memmove(message.buf, data, min(message.len, len(data)))


def _unread(descriptor: int) -> int:
    """Return how many bytes wait at this end of a pty."""
    answer = fcntl.ioctl(descriptor, termios.FIONREAD, bytes(4))
    return int(struct.unpack("i", answer)[0])


def _await_unread(descriptor: int, count: int) -> bool:
    """Wait in real time until so many bytes lie at this end; False if they never do."""
    for look in range(_LOOKS + _RESTS):
        if _unread(descriptor) >= count:
            return True
        if look >= _LOOKS:
            select.select((), (), (), _REST_S)
    return False


class TextPart(Protocol):
    """A part that the kernel shows as text."""

    def text(self) -> bytes:
        """Return what its file holds now.

        Raises:
            FileNotFoundError: it has left the wire, and the kernel removed its file.
        """
        ...

    def power_up(self) -> None:
        """Start again."""
        ...


class EmulatedFile(KernelFile):
    """The file in which the kernel would show an emulated part."""

    def __init__(self, path: str, part: TextPart) -> None:
        """Serve the part's text; `path` is only for messages."""
        super().__init__(path, blocking=False)
        self.part = part

    def _take(self) -> bytes:
        try:
            return self.part.text()
        except FileNotFoundError:
            return super()._take()  # the path does not exist, and that is said


class EmulatedSerial:
    """A serial part on a real pty, under a name that stays when it is plugged again."""

    def __init__(self, link: Path, part: SerialPart, *, waits: bool = True) -> None:
        """Plug the part in; needs a running event loop.

        Args:
            link: the name by which the port is opened, as a stable by-id path.
            part: what is on the line.
            waits: see `put`; False where another process reads, and may be faster.
        """
        self.path = str(link)
        self.part = part
        self._waits = waits
        self._link = link
        self._loop = asyncio.get_running_loop()
        self._master: int | None = None
        self._slave = -1
        self._timer: asyncio.TimerHandle | None = None
        self._planned: list[asyncio.TimerHandle] = []
        self._appear()

    def plug(self) -> None:
        """Make the port appear again; the part starts again."""
        if self._master is None:
            self.part.power_up()
            self._appear()

    def _appear(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        fresh = self._link.with_name(self._link.name + ".new")
        fresh.symlink_to(os.ttyname(self._slave))
        fresh.replace(self._link)
        self._loop.add_reader(self._master, self._take)
        self.reschedule()

    def unplug(self) -> None:
        """Make the port vanish, under whoever has it open."""
        if self._master is None:
            return
        if self._timer is not None:
            self._timer.cancel()
        self._loop.remove_reader(self._master)
        self._link.unlink(missing_ok=True)
        os.close(self._slave)
        os.close(self._master)
        self._master = None

    def later(self, delay_s: float, act: Callable[[], None]) -> None:
        """Plug or unplug after a while; `close` forgets it."""
        self._planned.append(self._loop.call_later(delay_s, act))

    def close(self) -> None:
        """Unplug for good."""
        for planned in self._planned:
            planned.cancel()
        self.unplug()

    def reschedule(self) -> None:
        """Set the timer for what the part sends next of its own accord."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        due_s = self.part.due_s()
        if due_s is not None and self._master is not None:
            self._timer = self._loop.call_at(due_s, self._send)

    def _send(self) -> None:
        self._timer = None
        self.put(self.part.send())
        self.reschedule()

    def put(self, data: bytes) -> None:
        """Send bytes to the host, and wait until it can see them.

        Without the wait, virtual time could jump ahead of the kernel, and no two runs
        would go alike.
        """
        if self._master is None or not data:
            return
        waiting = _unread(self._slave)
        if waiting + len(data) > _UNREAD_BYTES:
            termios.tcflush(self._slave, termios.TCIFLUSH)
            waiting = 0
        sent = os.write(self._master, data)
        if self._waits and not _await_unread(self._slave, waiting + sent):
            raise TimeoutError(f"the pty of {self.path} swallowed {sent} bytes")

    def after_write(self, count: int) -> None:
        """Let the part answer what the host has just written.

        To be given to `SerialPort(after_write=...)`: in virtual time the answer must
        come before the loop jumps on.
        """
        if self._master is None:
            return
        _await_unread(self._master, count)
        self._take()

    def _take(self) -> None:
        if self._master is None:
            return
        try:
            data = os.read(self._master, _UNREAD_BYTES)
        except BlockingIOError:
            return
        except OSError as error:
            if error.errno != errno.EIO:  # EIO: nobody has the port open
                raise
            return
        answer = self.part.receive(data)
        self.put(answer)
        self.reschedule()
